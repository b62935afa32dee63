// Choosing a part of a chart by dragging over it, with a mouse, a pen or a finger. The server says what that leaves.
"use strict";
(() => {
  const TAP = 6; // pixels that a touch may slip
  const WAIT = 1000; // ms after which an answer that did not come is waited for no longer
  let brush = null;
  let flying = 0;
  let waiting = null;
  const share = (at, from, size) => Math.min(1, Math.max(0, (at - from) / size));
  function send() {
    if (!waiting) return;
    flying = Date.now();
    emitEvent("fw", { what: "do", do: "brush", ...waiting });
    waiting = null;
  }
  function told(tap) {
    const { area, box, from, to } = brush;
    const [x, y] = [[from.x, to.x].sort((a, b) => a - b), [from.y, to.y].sort((a, b) => a - b)];
    return {
      ...area,
      tap,
      left: share(x[0], box.left, box.width),
      right: share(x[1], box.left, box.width),
      top: 1 - share(y[0], box.top, box.height),
      bottom: 1 - share(y[1], box.top, box.height),
    };
  }
  function shade() {
    const { area, box, from, to, mark } = brush;
    const both = area.brush === "xy";
    const held = (at, low, size) => Math.min(low + size, Math.max(low, at));
    const x = [from.x, to.x].map((at) => held(at, box.left, box.width));
    const y = both ? [from.y, to.y].map((at) => held(at, box.top, box.height)) : [box.top, box.bottom];
    mark.style.left = `${Math.min(...x)}px`;
    mark.style.top = `${Math.min(...y)}px`;
    mark.style.width = `${Math.abs(x[1] - x[0])}px`;
    mark.style.height = `${Math.abs(y[1] - y[0])}px`;
  }
  const slipped = () => Math.hypot(brush.to.x - brush.from.x, brush.area.brush === "xy" ? brush.to.y - brush.from.y : 0) > TAP;
  function end() {
    brush.mark.remove();
    brush = null;
  }
  document.addEventListener("pointerdown", (event) => {
    const area = event.target.closest?.("[data-brush]");
    if (!area || event.button !== 0 || !event.isPrimary) return;
    if (event.pointerType === "mouse") event.preventDefault(); // no text is marked
    const at = { x: event.clientX, y: event.clientY };
    const mark = document.createElement("div");
    mark.className = "brushed";
    document.body.append(mark);
    mark.setPointerCapture(event.pointerId); // the chart may be drawn anew under the finger
    event.target.addEventListener("touchmove", holds, { passive: false });
    // the chart may be drawn anew meanwhile: what is needed of it is kept
    brush = { area: { ...area.dataset }, box: area.getBoundingClientRect(), from: at, to: at, mark, pointer: event.pointerId };
  });
  document.addEventListener("pointermove", (event) => {
    if (!brush || event.pointerId !== brush.pointer) return;
    brush.to = { x: event.clientX, y: event.clientY };
    if (!slipped()) return;
    shade();
    waiting = told(false);
    if (Date.now() - flying > WAIT) send();
  });
  document.addEventListener("pointerup", (event) => {
    if (!brush || event.pointerId !== brush.pointer) return;
    brush.to = { x: event.clientX, y: event.clientY };
    waiting = told(!slipped());
    end();
    if (Date.now() - flying > WAIT) send();
  });
  document.addEventListener("pointercancel", () => {
    if (!brush) return;
    waiting = null; // the finger scrolls the page
    end();
  });
  // a finger over the plot, or along an axis, neither scrolls the page nor goes back to the one before
  const holds = (event) => {
    if (!brush || !event.cancelable) return;
    const [across, down] = [Math.abs(brush.to.x - brush.from.x), Math.abs(brush.to.y - brush.from.y)];
    if (brush.area.brush === "xy" || across > down) event.preventDefault();
  };
  document.addEventListener("touchstart", holds, { passive: false });
  document.addEventListener("touchmove", holds, { passive: false });
  // the server has drawn what the last one left
  window.fw.brushed = () => {
    flying = 0;
    send();
  };
})();
