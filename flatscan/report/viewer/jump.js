// "Show on map" beside a finding: goes to the map, marks the place and lays the edge where it lay.

/** Every button knows its place: {"at": [x, y], "contacts": [[x, y], [x, y]] or null, "edge_mm", "label"}. */
function watchShowButtons(viewer, onShow) {
  for (const button of document.querySelectorAll("button.show")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      onShow(JSON.parse(button.dataset.spot));
      viewer.querySelector(".frame").scrollIntoView({ block: "start" });
      document.getElementById("map").focus({ preventScroll: true });
    });
  }
}
