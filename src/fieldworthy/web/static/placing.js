// Things in a drawing to scale: dragged, sized, nudged, and put there from the shelf. The file is told when they are let go.
"use strict";
(() => {
  const tell = fw.tell;
  const LIFTED = 150; // ms that a thing is held until that is no click
  const NUDGE = 450; // ms after the last arrow key until the file is told
  let drag = null, asked = "", waits = false;
  function spotOf(target) {
    const spot = target.closest?.("svg.placing [data-spot]");
    return spot && !spot.dataset.fixed ? spot : null;
  }
  function shift(spot, dx, dy) {
    const svg = spot.ownerSVGElement;
    const scale = Number(svg.dataset.scale);
    spot.setAttribute("transform", `translate(${dx * scale} ${-dy * scale})`);
  }
  function placedTold(spot, dx, dy, sizes, what = "placed") {
    const plane = spot.ownerSVGElement.dataset.plane;
    const by = { dx: 0, dy: 0, dz: 0, [`d${plane[0]}`]: dx, [`d${plane[1]}`]: dy };
    tell("do", { do: what, of: spot.dataset.spot, sizes: sizes || "", ...by });
  }
  // while it is dragged the findings follow: one question at a time, and the newest place when that is answered
  function drifted(answered = true) {
    waits &&= !answered;
    if (!drag?.lifted || waits || asked === `${drag.dx} ${drag.dy}`) return;
    [asked, waits] = [`${drag.dx} ${drag.dy}`, true];
    placedTold(drag.spot, drag.dx, drag.dy, drag.handle, "drifts");
  }
  document.addEventListener("pointerdown", (event) => {
    const spot = spotOf(event.target);
    if (!spot || event.button !== 0) return;
    const handle = event.target.closest("[data-size]");
    const across = 1 / (spot.ownerSVGElement.getScreenCTM().a * Number(spot.ownerSVGElement.dataset.scale)); // m for each pixel of the screen
    [asked, waits] = ["", false];
    drag = { spot, handle: handle?.dataset.size || "", x: event.clientX, y: event.clientY, across, dx: 0, dy: 0, lifted: false };
    setTimeout(lift, LIFTED, drag);
    spot.setPointerCapture?.(event.pointerId);
    event.preventDefault();
    spot.focus({ preventScroll: true });
  });
  // what is held for a moment, or moves at all, will be dragged: the server gets ready for it before the first step
  function lift(one) {
    if (drag !== one || one.lifted) return;
    one.lifted = true;
    drifted(false);
  }
  document.addEventListener("pointermove", (event) => {
    if (!drag) return;
    if (event.clientX !== drag.x || event.clientY !== drag.y) lift(drag);
    const plane = drag.spot.ownerSVGElement.dataset.plane;
    const snap = event.altKey ? 0.001 : Number(drag.spot.ownerSVGElement.dataset.snap);
    const round = (metres) => Math.round(metres / snap) * snap;
    drag.dx = drag.handle && drag.handle !== plane[0] ? 0 : round((event.clientX - drag.x) * drag.across);
    drag.dy = drag.handle && drag.handle !== plane[1] ? 0 : round((drag.y - event.clientY) * drag.across);
    if (drag.handle) grow(drag);
    else shift(drag.spot, drag.dx, drag.dy);
    drifted(false);
  });
  function grow({ spot, dx, dy }) {
    const scale = Number(spot.ownerSVGElement.dataset.scale);
    const box = spot.querySelector("rect:not(.handle)");
    box.dataset.was ||= JSON.stringify([box.width, box.height, box.y].map((v) => v.baseVal.value));
    const [width, height, y] = JSON.parse(box.dataset.was);
    const tall = Math.max(1, height + dy * scale);
    box.setAttribute("width", Math.max(1, width + dx * scale));
    box.setAttribute("height", tall);
    box.setAttribute("y", y + height - tall);
  }
  document.addEventListener("pointerup", () => {
    if (!drag) return;
    const { spot, handle, dx, dy } = drag;
    drag = null;
    if (dx || dy) placedTold(spot, dx, dy, handle);
    else if (!["", "0 0"].includes(asked)) placedTold(spot, 0, 0, handle, "drifts"); // back where it was
    else tell("do", { do: "pick", of: spot.dataset.thing });
  });
  document.addEventListener("pointercancel", () => {
    if (!drag) return;
    drag.spot.removeAttribute("transform");
    placedTold(drag.spot, 0, 0, drag.handle, "drifts");
    drag = null;
  });
  const nudged = { spot: null, dx: 0, dy: 0, waits: 0 };
  function nudgeTold() {
    const { spot, dx, dy } = nudged;
    Object.assign(nudged, { spot: null, dx: 0, dy: 0 });
    if (spot && (dx || dy)) placedTold(spot, dx, dy);
  }
  document.addEventListener("keydown", (event) => {
    const spot = spotOf(event.target);
    if (!spot) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      tell("do", { do: "pick", of: spot.dataset.thing });
    }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!way) return;
    event.preventDefault();
    if (nudged.spot !== spot) nudgeTold();
    const by = event.shiftKey ? 0.001 : Number(spot.ownerSVGElement.dataset.snap);
    nudged.spot = spot;
    nudged.dx += way[0] * by;
    nudged.dy += way[1] * by;
    shift(spot, nudged.dx, nudged.dy);
    clearTimeout(nudged.waits);
    nudged.waits = setTimeout(nudgeTold, NUDGE);
  });

  // ---- what is dragged from the shelf onto the drawing; who cannot drag has a button ----
  let carried = null;
  document.addEventListener("dragstart", (event) => {
    const taken = event.target.closest?.("[data-shelf]");
    if (!taken) return;
    event.dataTransfer.setData("text/plain", "");
    carried = { of: taken.dataset.shelf, place: taken.dataset.place };
  });
  document.addEventListener("dragend", () => (carried = null));
  fw.dropsOn(
    (target) => carried && target.closest?.("#build-drawing svg"),
    (svg, event) => tell("do", { do: "dropped", ...carried, ...metres(svg, event) }),
  );
  function metres(svg, event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const { plane, scale, left, top, snap } = svg.dataset;
    const round = (number) => Math.round(number / snap) * snap;
    return { plane, across: round(Number(left) + at.x / scale), up: round(Number(top) - at.y / scale) };
  }
  fw.drifted = drifted;
})();
