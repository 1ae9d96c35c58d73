/**
 * Walk codes: a walk packed into letters that can be read out over the phone.
 *
 * The digits of a walk make one number in mixed radix, first digit least. Below it stand 20 bits of
 * the walked trees' shape and 20 bits that name the first tree; the whole is written in Crockford's
 * base 32 with its check symbol, in groups of four. The twin of `model/code.py`.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { problem } = faultTrees;

  const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  const SYMBOLS = ALPHABET + "*~$=U";
  const LONGEST = 120;
  const BITS = 20n;
  const MASK = (1n << BITS) - 1n;
  const BETWEEN = /[ \t\r\n\u00a0\-\u2010-\u2015]/g;

  faultTrees.code = { pack, write, read, fold };

  /**
   * @param {[number, number][]} digits each with its radix
   * @returns {bigint} the digits as one number, the first digit least
   */
  function pack(digits) {
    return digits.reduceRight((number, [digit, radix]) => BigInt(digit) + BigInt(radix) * number, 0n);
  }

  /**
   * @param {bigint} number the digits, packed
   * @param {number} shape 20 bits of the walked trees' shape
   * @param {number} tag 20 bits that name the first tree
   * @returns {string}
   */
  function write(number, shape, tag) {
    let value = (((number << BITS) | BigInt(shape)) << BITS) | BigInt(tag);
    let symbols = SYMBOLS[Number(value % BigInt(SYMBOLS.length))];
    for (; value || symbols.length <= 8; value >>= 5n) symbols = ALPHABET[Number(value & 31n)] + symbols;
    return (symbols.match(/.{1,4}/g) || []).join("-");
  }

  /** @param {string} symbol of either case, or a letter that looks like a digit @returns {number} what it stands for, -1 where it is foreign */
  function valueOf(symbol) {
    return SYMBOLS.indexOf(symbol.replace(/[a-z]/, (letter) => letter.toUpperCase()).replace(/[IL]/, "1").replace("O", "0"));
  }

  /**
   * @param {unknown} text a code, however it was typed
   * @returns {{number: bigint, shape: number, tag: number}}
   * @throws `too-long`, or `mistyped` where a symbol is foreign or the check symbol does not fit
   */
  function read(text) {
    if (typeof text !== "string") throw problem("mistyped", "This code has a typing mistake.");
    const symbols = text.length > 4 * LONGEST ? text : text.replace(BETWEEN, "");
    if (symbols.length > LONGEST) throw problem("too-long", "This is too long for a walk code.");
    const values = [...symbols].map(valueOf);
    const check = values.pop();
    let value = 0n;
    let sound = values.length > 0;
    for (const digit of values) {
      if (digit < 0 || digit >= ALPHABET.length) sound = false;
      else value = (value << 5n) | BigInt(digit);
    }
    if (!sound || Number(value % BigInt(SYMBOLS.length)) !== check) throw problem("mistyped", "This code has a typing mistake.");
    return { number: value >> (2n * BITS), shape: Number((value >> BITS) & MASK), tag: Number(value & MASK) };
  }

  /**
   * @param {number[]} fingerprints of the walked trees, in the order of entering them
   * @returns {number} 20 bits of them: FNV-1a over their bytes, folded by exclusive or
   */
  function fold(fingerprints) {
    let value = 0x811c9dc5;
    for (const fingerprint of fingerprints) {
      for (let shift = 24; shift >= 0; shift -= 8) value = Math.imul(value ^ ((fingerprint >>> shift) & 0xff), 0x01000193);
    }
    return (value ^ (value >>> 20)) & 0xfffff;
  }
})();
