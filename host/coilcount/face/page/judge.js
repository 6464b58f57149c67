// Judges alerts by labels, after the labels were changed in the page.  The rule is that of desk/scoring.py; which alerts
// there are is the tracker's decision and never this page's.

/** [from, to]: when an alert must peak to belong to the pass of a label. */
const reach = (label, nearS) => [Math.min(label.start, label.closest - nearS), Math.max(label.end, label.closest + nearS)];

/** True if an alert that peaks at `peak` belongs to the pass of a label. */
function belongs(peak, label, nearS) {
  const [from, to] = reach(label, nearS);
  return from <= peak && peak <= to;
}

/** True if a label says that there was something to find; a proposal says nothing until somebody confirms it. */
const isObject = (recording, label) => label.response !== "" && label.object !== recording.proposed;

/** True if there was a statistic at the closest approach; without one no threshold could have found the pass. */
const canBeFound = (recording, label) => recording.readySpans.some(([from, to]) => from <= label.closest && label.closest <= to);

/** What became of a label at the threshold in force; "" for a label that says there was nothing. */
function labelState(recording, label, found) {
  if (label.object === recording.proposed) return "proposed";
  if (label.response === "") return "";
  if (!canBeFound(recording, label)) return "not judged";
  return found.has(label) ? "found" : "missed";
}

/** The labels whose passes are counted. */
const judgedLabels = (recording, labels) => labels.filter((label) => isObject(recording, label) && canBeFound(recording, label));

/** Seconds with a statistic within the reach of any of the labels. */
function secondsTaken(recording, labels) {
  let taken = 0;
  let last = -Infinity;
  const spans = labels.map((label) => reach(label, recording.nearS)).sort((a, b) => a[0] - b[0]);
  for (const [from, to] of spans) {
    const start = Math.max(from, last); // no second counts twice
    for (const [first, end] of recording.readySpans) taken += Math.max(0, Math.min(to, end) - Math.max(start, first));
    last = Math.max(last, to);
  }
  return taken;
}

const NORMAL_95 = 1.959963984540054; // half-width of a 95 % interval, in standard deviations

/** Wilson's 95 % interval of hits / count (the source is given in desk/rates.py). */
function shareInterval(hits, count) {
  if (count === 0) return [0, 1];
  const square = NORMAL_95 ** 2;
  const share = hits / count;
  const scale = 1 + square / count;
  const middle = (share + square / (2 * count)) / scale;
  const half = Math.sqrt(square * ((share * (1 - share)) / count + square / (4 * count ** 2))) / scale;
  return [hits === 0 ? 0 : middle - half, hits === count ? 1 : middle + half];
}

/** The figures of one position of the slider, in the form in which Python gives them. */
function figuresOf(recording, peaks, labels) {
  const objects = judgedLabels(recording, labels);
  const near = recording.nearS;
  const found = objects.filter((label) => peaks.some((peak) => belongs(peak, label, near))).length;
  const falseAlarms = peaks.filter((peak) => !objects.some((label) => belongs(peak, label, near))).length;
  const minutes = Math.max(0, recording.readyS - secondsTaken(recording, objects)) / 60;
  const [foundLow, foundHigh] = shareInterval(found, objects.length);
  const [rateLow, rateHigh] = recording.rateLimits[falseAlarms];
  return {
    passes: objects.length,
    found,
    foundLow,
    foundHigh,
    falseAlarms,
    minutes,
    rateLow: minutes > 0 ? rateLow / minutes : 0,
    rateHigh: minutes > 0 ? rateHigh / minutes : null,
  };
}
