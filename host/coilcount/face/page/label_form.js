// The dialog in which a label is made, changed or removed.

class LabelForm {
  constructor() {
    this.dialog = byId("label-dialog");
    this.form = byId("label-form");
    this.done = null;
    this.form.onsubmit = (event) => {
      event.preventDefault();
      this.keep();
    };
    byId("label-cancel").onclick = () => this.dialog.close();
    byId("label-remove").onclick = () => {
      this.dialog.close();
      this.done("remove", null);
    };
    this.form.elements.response.onchange = () => this.suit();
  }

  /** label: what the fields begin with; existing: it is in the list already.  done("keep" | "remove", label). */
  open(label, existing, { limits, proposed }, done) {
    const fields = this.form.elements;
    this.done = done;
    this.limits = limits;
    const isProposal = existing && label.object === proposed;
    byId("label-title").textContent = isProposal ? "Confirm the proposal" : existing ? "Change the label" : "New label";
    byId("label-remove").hidden = !existing;
    byId("label-wrong").textContent = "";
    for (const name of ["start", "end", "closest", "object", "metal", "note"]) fields[name].value = label[name];
    if (isProposal) fields.object.value = ""; // keeping it confirms it
    fields.depth.value = label.depth === null ? "" : label.depth;
    fields.response.value = label.response;
    this.suit();
    this.dialog.showModal();
    fields.response.focus();
  }

  /** "Nothing there" has neither metal nor depth. */
  suit() {
    const nothing = this.form.elements.response.value === "";
    for (const name of ["metal", "depth"]) this.form.elements[name].disabled = nothing;
  }

  keep() {
    const fields = this.form.elements;
    const label = { object: fields.object.value, metal: fields.metal.value, note: fields.note.value };
    label.response = fields.response.value;
    if (label.response === "") label.metal = "";
    try {
      for (const name of ["start", "end", "closest"]) label[name] = numberIn(fields[name].value, name, "the label");
      const depth = fields.depth.value.trim();
      label.depth = depth === "" || label.response === "" ? null : numberIn(depth, "depth", "the label");
      if (!(label.start <= label.closest && label.closest <= label.end)) {
        throw new Error("The closest approach must lie between start and end.");
      }
      if (label.end < this.limits[0] || label.start > this.limits[1]) throw new Error("The label lies outside the recording.");
    } catch (error) {
      byId("label-wrong").textContent = error.message;
      return;
    }
    this.dialog.close();
    this.done("keep", label);
  }
}
