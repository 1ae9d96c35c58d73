/** Fails in the two ways that nobody catches. */
(() => {
  "use strict";
  setTimeout(() => {
    throw new Error("planted error");
  });
  Promise.reject(new Error("planted rejection"));
})();
