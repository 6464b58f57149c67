// The label file NAME.labels.csv: the format of capture/labels.py, written and read.

const LABEL_COLUMNS = ["start_s", "end_s", "closest_s", "object", "metal", "response", "depth_cm", "note"];
const LABEL_FIELDS = ["start", "end", "closest", "object", "metal", "response", "depth", "note"];
const RESPONSES = ["ferrous", "non-ferrous", "uncertain", ""];

function labelFileText(labels) {
  const cell = (value) => {
    const text = value === null ? "" : String(value);
    return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  const rows = labels.map((label) => LABEL_FIELDS.map((field) => cell(label[field])).join(","));
  return [LABEL_COLUMNS.join(","), ...rows].join("\n") + "\n";
}

/** The labels in the text of a file.  Throws an Error with a sentence and the number of the row. */
function readLabelFile(text) {
  // Spreadsheets write semicolons or tabs if their decimal sign is a comma.
  const plain = text.replace(/^\ufeff/, "");
  const firstLine = plain.split("\n", 1)[0];
  const count = (sign) => firstLine.split(sign).length;
  const delimiter = [";", "\t"].find((sign) => count(sign) > count(",")) || ",";
  const rows = csvRows(plain, delimiter);
  const head = (rows.shift() || []).map((name) => name.trim().toLowerCase());
  const missing = LABEL_COLUMNS.filter((name) => !head.includes(name));
  if (missing.length) {
    throw new Error(`No column ${missing.join(", ")}. The first line must be ${LABEL_COLUMNS.join(",")}`);
  }
  return rows.map((row, index) => {
    const where = `row ${index + 2}`;
    if (row.length !== head.length) throw new Error(`${where} has too many or too few cells.`);
    const cell = (name) => row[head.indexOf(name)];
    const number = (name) => numberIn(delimiter === "," ? cell(name) : cell(name).replace(",", "."), name, where);
    const [start, end, closest] = ["start_s", "end_s", "closest_s"].map(number);
    const response = cell("response");
    if (!(start <= closest && closest <= end)) {
      throw new Error(`${where}: closest_s does not lie between start_s and end_s.`);
    }
    if (!RESPONSES.includes(response)) throw new Error(`${where}: response is "${response}".`);
    const depth = cell("depth_cm") === "" ? null : number("depth_cm");
    return { start, end, closest, object: cell("object"), metal: cell("metal"), response, depth, note: cell("note") };
  });
}

function numberIn(text, name, where) {
  if (!/^\s*[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?\s*$/i.test(text)) {
    throw new Error(`${where}: ${name} is "${text}". Give a number.`);
  }
  return Number(text);
}

/** The rows of CSV text (RFC 4180); empty rows are left out. */
function csvRows(text, delimiter) {
  const endOfCell = new RegExp(`[${delimiter}\\r\\n]|$`);
  const rows = [];
  let row = [];
  let at = 0;
  while (at < text.length) {
    let cell = "";
    if (text[at] === '"') {
      for (at += 1; ; at++) {
        if (at >= text.length) throw new Error("A quote is not closed.");
        if (text[at] !== '"') cell += text[at];
        else if (text[at + 1] === '"') cell += text[++at];
        else break;
      }
      at += 1;
      if (at < text.length && ![delimiter, "\r", "\n"].includes(text[at])) throw new Error("There is text after a closing quote.");
    } else {
      const end = at + text.slice(at).search(endOfCell);
      cell = text.slice(at, end);
      at = end;
    }
    row.push(cell);
    if (text[at] === delimiter) {
      at += 1;
      if (at < text.length) continue;
      row.push("");
    }
    if (text.startsWith("\r\n", at)) at += 2;
    else at += 1;
    if (row.some((cell) => cell !== "")) rows.push(row);
    row = [];
  }
  return rows;
}
