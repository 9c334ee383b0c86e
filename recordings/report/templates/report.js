"use strict";
document.querySelectorAll("[data-plot]").forEach((box) => {
  const svg = box.querySelector("svg");
  const whole = svg.viewBox.baseVal;
  const home = [whole.x, whole.y, whole.width, whole.height];
  let view = home.slice();
  const show = () => {
    svg.setAttribute("viewBox", view.join(" "));
    box.classList.toggle("zoomed", view[2] < home[2]);
    fewer.disabled = reset.disabled = view[2] >= home[2];
  };
  const within = (value, low, high) => Math.min(Math.max(value, low), high);
  const zoom = (factor, x = 0.5, y = 0.5) => {
    const width = within(view[2] * factor, home[2] / 20, home[2]);
    const height = width * home[3] / home[2];
    view = [
      within(view[0] + x * (view[2] - width), home[0], home[0] + home[2] - width),
      within(view[1] + y * (view[3] - height), home[1], home[1] + home[3] - height),
      width, height,
    ];
    show();
  };
  const move = (dx, dy) => {
    view[0] = within(view[0] + dx, home[0], home[0] + home[2] - view[2]);
    view[1] = within(view[1] + dy, home[1], home[1] + home[3] - view[3]);
    show();
  };
  const tools = document.createElement("div");
  tools.className = "tools";
  const button = (text, label, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-label", label);
    made.addEventListener("click", act);
    tools.append(made);
    return made;
  };
  button("+", "zoom in", () => zoom(1 / 1.6));
  const fewer = button("−", "zoom out", () => zoom(1.6));
  const reset = button("whole", "show the whole figure", () => { view = home.slice(); show(); });
  box.before(tools);
  box.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    const at = svg.getBoundingClientRect();
    zoom(event.deltaY < 0 ? 1 / 1.25 : 1.25, (event.clientX - at.left) / at.width, (event.clientY - at.top) / at.height);
  }, { passive: false });
  svg.addEventListener("dblclick", (event) => {
    const at = svg.getBoundingClientRect();
    zoom(1 / 2.2, (event.clientX - at.left) / at.width, (event.clientY - at.top) / at.height);
  });
  let last = null;
  svg.addEventListener("pointerdown", (event) => {
    if (view[2] >= home[2]) return;
    last = [event.clientX, event.clientY];
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (last === null) return;
    const scale = view[2] / svg.getBoundingClientRect().width;
    move((last[0] - event.clientX) * scale, (last[1] - event.clientY) * scale);
    last = [event.clientX, event.clientY];
  });
  svg.addEventListener("pointerup", () => { last = null; });
  svg.addEventListener("pointercancel", () => { last = null; });
  show();
});
