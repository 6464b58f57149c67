// The tables beside the drawings: finds, labels, and the figures of every position of the slider.

/** Alerts joined to finds: repeated passes over one place are one row. */
function findsOf(alerts) {
  const finds = new Map();
  for (const alert of alerts) finds.set(alert.find, [...(finds.get(alert.find) || []), alert]);
  return [...finds.values()].sort((a, b) => a[0].peak - b[0].peak);
}

/** What the labels say about a group of alerts. */
function verdictWords(group, judged) {
  if (!judged) return "";
  const names = [...new Set(group.flatMap((alert) => alert.labels.map(labelWords)))];
  const wrong = group.filter((alert) => alert.verdict === "false").length;
  if (wrong) names.push(wrong === 1 ? "1 false alarm" : `${wrong} false alarms`);
  return names.join(", ");
}

const nameOf = (button) => button.getAttribute("aria-label") || button.textContent;

/** New rows for a table.  The keyboard stays on the same button, because the old one with its focus is gone. */
function replaceRows(body, rows) {
  const held = body.contains(document.activeElement) ? nameOf(document.activeElement) : null;
  body.replaceChildren(...rows);
  if (held === null) return;
  const again = [...body.querySelectorAll("button")].find((button) => nameOf(button) === held);
  if (again) again.focus({ preventScroll: true });
}

function fillFinds(body, alerts, { threshold, judged, picked, time, jump, label }) {
  const rows = findsOf(alerts).map((group) => {
    const strongest = group.reduce((best, alert) => (alert.score > best.score ? alert : best));
    const last = group[group.length - 1];
    const row = element("tr");
    if (picked !== null && group.includes(picked)) row.setAttribute("aria-current", "true");
    const when = element("td");
    const button = element("button", time(group[0].peak), { type: "button", class: "jump" });
    button.title = "Show it in the plot";
    button.onclick = () => jump(group[0]);
    when.append(button);
    const went = element("td", "", { class: strongest.sign > 0 ? "rise" : strongest.sign < 0 ? "fall" : "" });
    went.append(element("span", GLYPH[strongest.sign], { "aria-hidden": "true" }), ` ${WENT[strongest.sign]}`);
    const seen = group.length > 1 ? `seen ${last.seen} times` : "once";
    const answer = element("td", ANSWER[last.response] || last.response);
    if (last.reasons.length) answer.append(element("small", ` (${last.reasons.join("; ")})`));
    const act = element("td");
    const edit = element("button", "Label", { type: "button", "aria-label": `Label the find at ${time(group[0].peak)}` });
    edit.onclick = () => label(strongest);
    act.append(edit);
    row.append(
      when,
      went,
      element("td", seen),
      answer,
      element("td", signed(strongest.ppm, 2), { class: "number" }),
      element("td", signed(strongest.hz, 3), { class: "number wide" }),
      element("td", `${(strongest.score / threshold).toFixed(1)} ×`, { class: "number" }),
      element("td", last.confidence === null ? "–" : percent(last.confidence), { class: "number" }),
      element("td", verdictWords(group, judged)),
      act,
    );
    return row;
  });
  replaceRows(body, rows);
}

function fillLabels(body, labels, { recording, found, time, edit, jump }) {
  const rows = labels.map((label) => {
    const row = element("tr");
    const when = element("td");
    const button = element("button", time(label.closest), { type: "button", class: "jump" });
    button.onclick = () => jump(label.closest);
    when.append(button);
    const act = element("td");
    const change = element("button", "Change", { type: "button", "aria-label": `Change the label at ${time(label.closest)}` });
    change.onclick = () => edit(label);
    act.append(change);
    const state = labelState(recording, label, found);
    row.append(
      when,
      element("td", labelWords(label)),
      element("td", label.metal),
      element("td", label.response || "nothing there"),
      element("td", label.depth === null ? "" : `${label.depth}`, { class: "number" }),
      element("td", state),
      element("td", label.note, { class: "note" }),
      act,
    );
    return row;
  });
  replaceRows(body, rows);
}

function fillPositions(body, recording, figures, position, choose) {
  const rows = recording.at.map((at, i) => {
    const row = element("tr");
    if (i === position) row.setAttribute("aria-current", "true");
    const cell = element("td");
    const button = element("button", at.asked === null ? at.threshold.toFixed(2) : `${at.threshold.toFixed(2)} (${at.asked} a minute asked for)`, { type: "button", class: "jump" });
    button.onclick = () => choose(i);
    cell.append(button);
    const judged = figures && figures[i];
    const texts = judged
      ? [
          judged.passes ? `${judged.found} of ${judged.passes}` : "none labelled",
          judged.passes ? `${percent(judged.foundLow)} to ${percent(judged.foundHigh)}` : "",
          judged.falseAlarms,
          judged.minutes > 0 ? brief(judged.falseAlarms / judged.minutes) : "–",
          judged.minutes > 0 ? `${brief(judged.rateLow)} to ${brief(judged.rateHigh)}` : "",
        ]
      : ["no labels", "", "no labels", "", ""];
    row.append(cell, element("td", String(at.alerts.length), { class: "number" }), ...texts.map((text) => element("td", String(text), { class: "number" })));
    return row;
  });
  replaceRows(body, rows);
}
