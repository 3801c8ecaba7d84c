// A tie is placed on exactly the frames that are on screen: one view's, or two views' side by side.
// While a picture is on its way nothing can be tied. The lane strip of a recording leads to frames.

import { FrameViewer } from "./frame-viewer.js";

function start(root) {
  const viewers = [...root.querySelectorAll("[data-viewer]")].map((one) => new FrameViewer(one));
  const button = root.querySelector("[data-tie-button]");
  const field = (name) => root.querySelector(`[data-frame-field="${name}"]`);
  const told = (name, value) => {
    field(name).value = value;
    const kept = document.querySelector(`[data-kept="${name}"]`);
    if (kept && value !== "") kept.value = value;
    button.disabled = viewers.some((viewer) => field(viewer.name).value === "");
  };
  for (const viewer of viewers) {
    viewer.root.addEventListener("frame-viewer:moving", () => told(viewer.name, ""));
    viewer.root.addEventListener("frame-viewer:shown", ({ detail }) => {
      told(viewer.name, detail.hidden ? "" : detail.frame);
      const two = root.querySelector("[data-two]");
      if (two) two.search = `?frame=${detail.frame}`;
    });
  }
  if (viewers.length === 1) followStrip(viewers[0]);
  for (const viewer of viewers) viewer.go(viewer.frame);
}

function followStrip(viewer) {
  for (const area of document.querySelectorAll("area[data-frame]")) {
    area.addEventListener("click", (event) => {
      event.preventDefault();
      viewer.go(Number(area.dataset.frame));
    });
  }
  const strip = document.querySelector("[data-lane-strip]");
  if (!strip) return;
  const end_s = Number(strip.querySelector("[role=slider]").ariaValueMax);
  // Near enough: the picture's own time then stands on the strip.
  strip.addEventListener("lane-strip:move", ({ detail }) =>
    viewer.go(Math.round((detail.at_s / end_s) * (viewer.last + 1))));
  strip.addEventListener("lane-strip:step", (event) => {
    event.preventDefault();
    viewer.go(viewer.frame + event.detail.steps);
  });
  viewer.root.addEventListener("frame-viewer:shown", ({ detail }) => {
    const text = viewer.find("clock").textContent;
    const show = new CustomEvent("lane-strip:show", { detail: { at_s: detail.media_s, text } });
    strip.dispatchEvent(show);
  });
}

for (const root of document.querySelectorAll("[data-tie]")) start(root);
