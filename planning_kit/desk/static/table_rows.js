// The tables as data: a sheet is its columns, the order of its lines, and a row of texts a line. What is
// shown of it, found in it, wrong with it and copied from it, without a grid.

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
// of the tables that it refers to.
export function suggestionsOf(schema, sheets, name, column, key) {
  const field = schema[name].values ? schema[name].values[key] : schema[name].fields[column];
  if (!field) return { words: [], isList: false };
  const ids = field.refers_to.flatMap(other => {
    const at = sheets[other].columns.indexOf(schema[other].key);
    return sheets[other].order.map(id => sheets[other].rows[id][at]);
  });
  return { words: [...new Set([...field.choices, ...ids])].filter(Boolean), isList: field.is_list };
}

export function aboutCell(column, field, fault) {
  if (fault) return `${column}: ${fault}`;
  if (!field?.about) return "";
  return `${column}: ${field.about}${field.unit ? `, in ${field.unit}` : ""}`;
}

// Whether a row holds what is looked for, which is given in small letters.
export function isFound(row, words) {
  return Object.entries(row).some(
    ([name, value]) =>
      name !== "_id" && name !== NUMBER_COLUMN && String(value).toLowerCase().includes(words),
  );
}

export function numberOrder(a, b) {
  return Number(a || NaN) - Number(b || NaN) || 0;
}

// A block of cells as a spreadsheet takes it: tabs and lines, quoted where a text holds one of them.
export function blockText(rows) {
  const quoted = words => (/[\t\n"]/.test(words) ? `"${words.replaceAll('"', '""')}"` : words);
  return rows.map(row => row.map(words => quoted(words ?? "")).join("\t")).join("\n");
}
