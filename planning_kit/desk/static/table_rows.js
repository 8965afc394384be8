// The tables as data: a sheet is its columns, the order of its lines, and a row of texts a line. What is
// shown of it, found in it, wrong with it and copied from it, without a grid.

import { el } from "./dom.js";

export const NUMBER_COLUMN = "_n";

export function rowsOf(sheet) {
  return sheet.order.map((id, number) => rowOf(sheet, id, number));
}

export function rowOf(sheet, id, number) {
  const row = { _id: id, [NUMBER_COLUMN]: number + 1 };
  sheet.columns.forEach((column, at) => {
    row[column] = sheet.rows[id][at];
  });
  return row;
}

export function lineOf({ columns, order, rows }, column, words) {
  const at = columns.indexOf(column);
  return order.find(id => rows[id][at] === words);
}

export function withCell(sheet, id, column, words) {
  const at = sheet.columns.indexOf(column);
  return sheet.rows[id].map((text, each) => (each === at ? words : text));
}

export function changedLines(before, rows, changed) {
  return Object.keys(changed)
    .map(Number)
    .filter(id => !same(before[id], rows[id]));
}

export function same(a, b) {
  return a !== undefined && b !== undefined && a.length === b.length && a.every((text, at) => text === b[at]);
}

export function cellKey(name, line, column) {
  return `${name}|${line}|${column}`;
}

// The problems of every cell; of a fault without a column, at the row's key.
export function faultsByCell(faults, schema) {
  const found = new Map();
  for (const { sheet, line, column, problem } of faults) {
    if (line === null) continue;
    const key = cellKey(sheet, line, column || schema[sheet].key);
    found.set(key, [found.get(key), problem].filter(Boolean).join("; "));
  }
  return found;
}

export function faultCounts(faults) {
  const counts = {};
  for (const fault of faults) counts[fault.sheet] = (counts[fault.sheet] ?? 0) + 1;
  return counts;
}

// What a cell may hold: the choices of its column, or of its row in a sheet of keys and values, and the ids
// of the tables that it refers to; each with its title, "" where it has none.
export function suggestionsOf(schema, sheets, name, column, key) {
  const field = fieldOf(schema[name], column, key);
  if (!field) return { options: [], isList: false };
  const options = new Map(field.choices.map(word => [word, ""]));
  for (const other of field.refers_to) {
    const [id, title] = [schema[other].key, titleColumn(sheets[other])].map(each =>
      sheets[other].columns.indexOf(each),
    );
    for (const line of sheets[other].order) {
      const row = sheets[other].rows[line];
      if (row[id] && !options.get(row[id])) options.set(row[id], row[title] ?? "");
    }
  }
  return { options: [...options], isList: field.is_list };
}

export function fieldOf({ values, fields }, column, key) {
  return values && column === "value" ? values[key] : fields[column];
}

function titleColumn({ columns }) {
  return ["title", "name"].find(each => columns.includes(each));
}

const LONG_UNITS = { min: "minutes", m: "metres" };

// The head of a column: the file's name for it in words, with its unit: "likely, min" of minutes_likely.
export function headOf(column, field) {
  const parts = column.split("_");
  const unit = field?.unit;
  if (parts.length > 1 && parts.at(-1) === unit) parts.pop();
  else if (parts.length > 1 && parts[0] === LONG_UNITS[unit]) parts.shift();
  const words = parts.join(" ");
  return !unit || [unit, LONG_UNITS[unit]].includes(words) ? words : `${words}, ${unit}`;
}

// What a column means, and what may be typed in it.
export function meaningOf(field) {
  if (!field) return "";
  const form = field.kind === "choice" ? `one of ${field.choices.join(", ")}` : (field.form ?? "");
  const about = field.about === "id" ? "" : field.about;
  return [about && field.unit ? `${about}, in ${field.unit}` : about, form].filter(Boolean).join(" · ");
}

export function aboutCell(column, field, fault) {
  if (fault) return `${column}: ${fault}`;
  const meaning = meaningOf(field);
  return meaning && `${column}: ${meaning}`;
}

// The columns as they are looked at. `kept` is how the planner wants them; else those that nobody has used
// are folded away, but for the first of the format, which a planner needs first, and those that are needed.
const FIRST_COLUMNS = 10;

export function lookOf(sheet, { key, fields }, kept = null) {
  const { columns } = sheet;
  const order = (kept?.order ?? columns).filter(each => columns.includes(each));
  order.push(...columns.filter(each => !order.includes(each)));
  return {
    order,
    hidden: kept?.hidden ?? emptyColumns(sheet).filter(each => !isFirst(fields, each)),
    pinned: kept?.pinned ?? (columns[0] === key ? [key] : []),
  };
}

export function isFirst(fields, column) {
  const place = Object.keys(fields).indexOf(column);
  return (place >= 0 && place < FIRST_COLUMNS) || Boolean(fields[column]?.needed);
}

export function emptyColumns({ columns, order, rows }) {
  const isUsed = columns.map(() => false);
  for (const id of order)
    rows[id].forEach((text, at) => {
      if (text) isUsed[at] = true;
    });
  return columns.filter((_, at) => !isUsed[at]);
}

// Those to be seen, from the left: the pinned ones first.
export function shownColumns({ order, hidden, pinned }) {
  const shown = order.filter(each => !hidden.includes(each));
  return [...shown.filter(each => pinned.includes(each)), ...shown.filter(each => !pinned.includes(each))];
}

// The whole order after those that are shown were put in another; the hidden ones keep their places.
export function orderAfter(order, shown) {
  const left = [...shown];
  return order.map(each => (shown.includes(each) ? left.shift() : each));
}

// Whether a row holds what is looked for, which is given in small letters.
export function isFound(row, words) {
  return Object.entries(row).some(
    ([name, value]) =>
      name !== "_id" && name !== NUMBER_COLUMN && String(value).toLowerCase().includes(words),
  );
}

// Orders numbers by what they mean: 85 ft is less than 30 m. Sorting knows no place for what is no number.
export function numberOrder(units = {}) {
  const meant = text => {
    const [, number, unit] = /^\s*([-+.\de]*?)\s*([a-zA-Z][^\d]*?)?\s*$/.exec(text || "") ?? [];
    return number ? Number(number) * (unit ? (units[unit] ?? NaN) : 1) : NaN;
  };
  return (a, b) => meant(a) - meant(b) || 0;
}

// A block of cells as a spreadsheet takes it: tabs and lines, quoted where a text holds one of them. What
// begins with = + - @ is copied as it is, though a spreadsheet may compute it: a block that is pasted back
// here must say what it said. As a table (`blockTable`), which is what a spreadsheet takes first, it is text.
export function blockText(rows) {
  const quoted = words => (/[\t\r\n"]/.test(words) ? `"${words.replaceAll('"', '""')}"` : words);
  return rows.map(row => row.map(words => quoted(words ?? "")).join("\t")).join("\n");
}

// The same as a table: plain numbers are numbers, everything else is marked as text, so that no spreadsheet
// makes a date of an id or computes what begins with =.
const AS_TEXT = { style: "mso-number-format:'\\@'", sdnum: "0;0;@" };

export function blockTable(rows) {
  const cellOf = words => {
    const isNumber = /^-?(0|[1-9]\d*)(\.\d+)?$/.test(words ?? "");
    const lines = (words ?? "").split("\n");
    const parts = lines.flatMap(line => [el("br", { style: "mso-data-placement:same-cell" }), line]);
    return el("td", isNumber ? {} : AS_TEXT, parts.slice(1));
  };
  const lines = rows.map(row => el("tr", {}, row.map(cellOf)));
  return new XMLSerializer().serializeToString(el("table", {}, lines));
}
