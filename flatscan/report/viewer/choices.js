// The rows of choices above the map and the straightedge.

/** One choice of a row of them; kind is radio or checkbox. */
function chip(kind, name, value, text, checked) {
  const label = part("label", "", "chip");
  const input = document.createElement("input");
  Object.assign(input, { type: kind, name, value, checked });
  label.append(input, part("span", text));
  return label;
}

/** Fills the rows of choices with what this floor has. */
function buildChoices(viewer) {
  const choices = [["height", "Heights"]];
  if (viewer.layers.gaps().length || viewer.layers.has("share_before")) choices.push(["gaps", "Gaps"]);
  choices.push(["sigma", "How sure"]);
  if (viewer.layers.has("after")) choices.push(["after", "Levelling"]);
  if (viewer.photo) choices.push(["photo", "Photo from above"]);
  byId("layer-choice").append(...choices.map(([value, text]) => chip("radio", "layer", value, text, value === "height")));
  const gaps = viewer.layers.gaps().map((layer) => [layer.name, "", layer]);
  if (viewer.layers.has("share_before")) gaps.unshift(["share_before", "all, as a share of the limit", null]);
  const first = gaps.find(([, , layer]) => layer?.limit_mm) ?? gaps[0];
  byId("gap-choice").append(...gaps.map(([value, text]) => chip("radio", "gap", value, text, value === first?.[0])));
  viewer.gapShown = first?.[0];
  const marks = [
    ["worst", "worst gaps", viewer.data.findings.length], ["areas", "areas to level", viewer.data.areas.length],
    ["joints", "joints", viewer.data.joints.length], ["lips", "lips", viewer.lips.length],
    ["zones", "zones", viewer.data.zones.length], ["site", "found on site", viewer.data.on_site.length],
  ].filter(([, , count]) => count > 0);
  for (const [name] of marks) viewer.scene.show[name] = ["worst", "areas", "site"].includes(name);
  byId("mark-choice").hidden = !marks.length;
  byId("mark-choice").append(...marks.map(([name, text]) => chip("checkbox", "mark", name, text, viewer.scene.show[name])));
  const edges = [...new Set(viewer.data.edge.rules.map((rule) => rule.edge_mm))].sort((a, b) => a - b);
  byId("edge-choice").append(
    ...edges.map((mm) => chip("radio", "edge", String(mm), "", false)),
    chip("radio", "edge", "free", "as long as I draw it", false),
  );
  viewer.root.querySelector(`input[name=units][value=${viewer.words.imperial ? "imperial" : "metric"}]`).checked = true;
  nameLengths(viewer);
}

/** Lengths on the choices, in the units that are read. */
function nameLengths(viewer) {
  for (const input of viewer.root.querySelectorAll("input[name=edge]:not([value=free])")) {
    const mm = Number(input.value);
    const limits = viewer.data.limits.filter((one) => one.edge_mm === mm);
    const said = limits.length ? `, limit ${viewer.words.limit(Math.min(...limits.map((one) => one.limit_mm)))}` : "";
    input.nextSibling.textContent = viewer.words.edge(mm) + said;
  }
  for (const layer of viewer.layers.gaps()) {
    viewer.root.querySelector(`input[name=gap][value="${layer.name}"]`).nextSibling.textContent = `under ${viewer.words.reach(layer.edge_mm)}`;
  }
  for (const unit of viewer.root.querySelectorAll(".unit")) unit.textContent = viewer.words.typedUnit;
}
