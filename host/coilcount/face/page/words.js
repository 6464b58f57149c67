// How times, shifts and shares are written; small helpers for the document.

const byId = (id) => document.getElementById(id);

/** A new element with text; text from outside goes through here and is never read as HTML. */
function element(name, text = "", attributes = {}) {
  const made = document.createElement(name);
  if (text !== "") made.textContent = text;
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

/** A moment as m:ss.s, from an hour on as h:mm:ss.s; decimals of a second as given. */
function instant(seconds, decimals = 1) {
  const unit = 10 ** decimals;
  const total = Math.round(Math.abs(seconds) * unit);
  const sign = seconds < 0 && total > 0 ? "-" : "";
  const left = total % (60 * unit);
  const minutes = Math.floor(total / (60 * unit));
  const tail = (left / unit).toFixed(decimals).padStart(decimals ? 3 + decimals : 2, "0");
  const hours = Math.floor(minutes / 60);
  return sign + (hours ? `${hours}:${String(minutes % 60).padStart(2, "0")}` : minutes) + ":" + tail;
}

/** The same moment as time of day in UTC: hh:mm:ss.s. */
function timeOfDay(startMs, seconds, decimals = 1) {
  const unit = 10 ** decimals;
  const total = Math.round((startMs / 1000 + seconds) * unit) / unit;
  const day = ((total % 86400) + 86400) % 86400;
  const two = (value) => String(Math.floor(value)).padStart(2, "0");
  const second = (day % 60).toFixed(decimals).padStart(decimals ? 3 + decimals : 2, "0");
  return `${two(day / 3600)}:${two((day / 60) % 60)}:${second}`;
}

/** A length of time: 3.7 s, 12 min 5 s, 2 h 3 min. */
function duration(seconds) {
  if (seconds < 60) return `${seconds.toFixed(1)} s`;
  const whole = Math.round(seconds);
  if (whole < 3600) return `${Math.floor(whole / 60)} min ${whole % 60} s`;
  return `${Math.floor(whole / 3600)} h ${Math.floor((whole % 3600) / 60)} min`;
}

const MINUS = "−";

/** A number with its sign, with a true minus. */
function signed(value, decimals) {
  const text = Math.abs(value).toFixed(decimals);
  return (value < 0 && Number(text) !== 0 ? MINUS : "+") + text;
}

/** A number in two digits, from 100 on in whole numbers: 0.042, 1.3, 17, 250. */
function brief(value) {
  if (value === 0) return "0";
  const size = Math.abs(value);
  return size >= 100 ? value.toFixed(0) : Number(value.toPrecision(2)).toString();
}

const percent = (share) => `${Math.round(100 * share)} %`;

const GLYPH = { "1": "▲", "-1": "▼", "0": "◆" };
const WENT = { "1": "rose", "-1": "fell", "0": "not settled" };
const ANSWER = { "non-ferrous": "non-ferrous, or sheet iron", ferrous: "ferrous", uncertain: "uncertain" };

/** What a label says was there. */
const labelWords = (label) => label.object || (label.response ? label.response : "nothing there");
