// Writes the workbooks of this folder with the npm package `xlsx`.
const XLSX = require("xlsx");

const text = (v) => ({ t: "s", v });
const number = (v) => ({ t: "n", v });
const fault = (v) => ({ t: "e", v, w: "#N/A" });
// Days from the day that dates count from, in the format that a spreadsheet gives a typed date.
const date = (days) => ({ t: "n", v: days, z: "yyyy\\-mm\\-dd" });
const NONE = null;

function sheet(rows) {
  const cells = {};
  rows.forEach((row, r) =>
    row.forEach((cell, c) => {
      if (cell) cells[XLSX.utils.encode_cell({ r, c })] = cell;
    }),
  );
  const width = Math.max(...rows.map((row) => row.length));
  cells["!ref"] = XLSX.utils.encode_range({ s: { r: 0, c: 0 }, e: { r: rows.length - 1, c: width - 1 } });
  return cells;
}

function book(name, sheets) {
  const made = XLSX.utils.book_new();
  for (const [title, cells] of sheets) XLSX.utils.book_append_sheet(made, cells, title);
  XLSX.writeFile(made, name, { bookType: name.split(".").pop(), compression: true });
}

// Says in BrtWbProp (record 0x99) that dates count from 1904, which the package reads and does not write.
function countFrom1904(name) {
  const zip = XLSX.CFB.read(name, { type: "file" });
  const part = XLSX.CFB.find(zip, "/xl/workbook.bin").content;
  const at = part.findIndex((byte, i) => byte === 0x99 && part[i + 1] === 0x01);
  part[at + 3] |= 1;
  XLSX.CFB.writeFile(zip, name, { fileType: "zip", compression: true });
}

function list(dayOf20260102) {
  return [
    ["Fixture 12", sheet([
      [text("Clamps of fixture 12")],
      [text("Drawing"), text("D-4711"), text("rev. 3")],
      [],
      ["Fixture", "Circuit", "Position", "Part No.", "Qty", "Length", "Note"].map(text),
      [NONE, NONE, NONE, NONE, NONE, text("mm"), NONE],
      [text("F12"), number(1), text("C1"), text("CL-1"), number(4), NONE, text("Höhe prüfen")],
      [text("F12"), number(1), text("L1"), text("TB-1"), number(1), number(1234.5), NONE],
      [text("F12"), number(1), date(dayOf20260102), text("TB-1"), text("2"), text("63,5"), NONE],
      [text("F12"), number(1), text("L3"), text("TB-1"), number(1), fault(0x2a), NONE],
      [text("F12"), number(1), text("L4"), text("TB-1"), text("2"), text("1,5 m"), NONE],
      [text("F12"), number(2), text("G"), text("007"), number(1), NONE, NONE],
      [text("F12"), number(2), text("G"), number(7), number(1), NONE, NONE],
      [text("Total"), NONE, NONE, NONE, number(12), NONE, NONE],
    ])],
    ["Fixture 13", sheet([
      ["Fixture", "Circuit", "Position", "Part No.", "Qty", "Length [in]"].map(text),
      [text("F13"), number(1), text("C1"), text("CL-1"), number(2), NONE],
      [text("F13"), number(1), text("L1"), text("TB-1"), number(1), number(12.25)],
    ])],
    ["Contents", sheet([[text("Sheet"), text("What")], [text("Fixture 12"), text("clamps")]])],
  ];
}

book("days-1900.xlsb", list(46024));
book("days-1904.xlsb", list(46024 - 1462));
countFrom1904("days-1904.xlsb");

// One cell in the last row and column that the kind of file has.
function corner(name, row, column) {
  const cells = sheet([[text("part_no"), text("qty")], [text("CL-1"), number(1)]]);
  cells[XLSX.utils.encode_cell({ r: row, c: column })] = text("x");
  cells["!ref"] = XLSX.utils.encode_range({ s: { r: 0, c: 0 }, e: { r: row, c: column } });
  book(name, [["Clamps", cells]]);
}

corner("far-corner.xls", 65535, 255);
