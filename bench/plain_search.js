// The search that MkDocs ships, over pages of text: standard input is {"pages": [{"id", "title", "text"}],
// "queries": [...]}, standard output the ids of the ten best pages for each. The argument is MkDocs' own lunr.js.
// Index and query as its worker sets them up: fields title and text, any of the words, English stems.
const fs = require("fs");
const lunr = require(process.argv[2]);
const { pages, queries } = JSON.parse(fs.readFileSync(0, "utf8"));
const index = lunr(function () {
  this.ref("id");
  this.field("title");
  this.field("text");
  pages.forEach((page) => this.add(page));
});
// What lunr reads as an operator is no operator to somebody in distress.
const plain = (query) => query.replace(/[~^:*+-]/g, " ");
process.stdout.write(JSON.stringify(queries.map((query) => index.search(plain(query)).slice(0, 10).map((hit) => hit.ref))));
