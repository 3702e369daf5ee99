/* The "working" note, names for controls that have none, and saving a picture of a plot. */
"use strict";
(() => {
  const LATE = 30000; // ms after the last cell without anything to see
  const SETTLED = 250; // ms in which no further part came
  const SHOWN = "#rendered_cells .jupyter-widgets, #rendered_cells .jp-OutputArea-output > *";

  window.pwWorking = {
    hide() { document.getElementById("pw-working").hidden = true; },
  };

  /* The page is shown whole: with its picture, or once its parts have stopped coming. */
  let settling = null;
  function hideWhenShown() {
    const working = document.getElementById("pw-working");
    if (working.hidden || !window.pwFinished) return;
    clearTimeout(settling);
    if (document.querySelector(".js-plotly-plot .main-svg")) window.pwWorking.hide();
    else if (document.querySelector(SHOWN)) settling = setTimeout(window.pwWorking.hide, SETTLED);
  }

  function sayLate() {
    const working = document.getElementById("pw-working");
    if (working.hidden) return;
    document.getElementById("pw-working-text").textContent =
      "This takes longer than expected. If nothing appears, reload the page.";
  }

  function setLabel(element, label) {
    if (label && element.getAttribute("aria-label") !== label) {
      element.setAttribute("aria-label", label);
    }
  }

  function labelOf(widget) {
    const label = widget.querySelector(":scope > .widget-label");
    return label ? label.textContent.trim() : "";
  }

  function nameSlider(slider) {
    const label = labelOf(slider);
    if (!label) return;
    const handles = slider.querySelectorAll("[role=slider]");
    const ends = handles.length === 2 ? [", lower end", ", upper end"] : [""];
    handles.forEach((handle, i) => setLabel(handle, label + ends[i]));
    if (slider.closest(".pw-sliding")) return; // its field says the value
    if (handles.length === 1) sayValue(handles[0], slider.querySelector(".widget-readout"));
    slider.querySelectorAll(".widget-readout").forEach((box) => {
      setLabel(box, label + ", value");
      if (!box.hasAttribute("role")) box.setAttribute("role", "textbox");
    });
  }

  /* A slider with a field for its number: the field has the slider's name, and the slider is read out with its unit. */
  function namePair(pair) {
    const slider = pair.querySelector(".widget-slider, .widget-hslider");
    const field = pair.querySelector("input[type=text]");
    const label = slider && labelOf(slider);
    if (!label || !field) return;
    setLabel(field, label + ", value");
    const handle = slider.querySelector("[role=slider]");
    const number = Number(handle.getAttribute("aria-valuetext"));
    const unit = label.split(", ").pop();
    if (!Number.isNaN(number)) handle.setAttribute("aria-valuetext", `${number} ${unit}`);
  }

  /* A slider is read out as its readout writes its value: 95 %, not 0.9. */
  function sayValue(handle, readout) {
    const text = readout ? readout.textContent.trim() : "";
    if (text && handle.getAttribute("aria-valuetext") !== text) handle.setAttribute("aria-valuetext", text);
  }

  /* A box that is narrower than its table is reached by keyboard, and has the name of its heading. */
  function nameWide(box) {
    if (box.scrollWidth <= box.clientWidth + 1) {
      ["tabindex", "role", "aria-label"].forEach((name) => box.removeAttribute(name));
      return;
    }
    let heading = box.previousElementSibling;
    while (heading && !/^H\d$/.test(heading.tagName)) heading = heading.previousElementSibling;
    setLabel(box, (heading ? heading.textContent.trim() : "Table") + ", wider than the page");
    if (box.getAttribute("role") !== "region") box.setAttribute("role", "region");
    if (box.tabIndex !== 0) box.tabIndex = 0;
  }

  /* A box in a section that is not shown has no size yet. */
  const resized = new ResizeObserver((entries) => entries.forEach((entry) => nameWide(entry.target)));
  const watched = new WeakSet();
  function watchWide(box) {
    nameWide(box);
    if (watched.has(box)) return;
    watched.add(box);
    resized.observe(box);
  }

  /* What a control answers is brought into view, once; which step is next is not, or the answer left the view for it. */
  const seen = new WeakSet();
  function showAnswers() {
    document.querySelectorAll(".pw-controls [role=alert], .pw-controls [role=status]:not(.pw-step-said)").forEach((answer) => {
      if (seen.has(answer) || !answer.offsetParent) return;
      seen.add(answer);
      const part = answer.closest(".pw-step") || answer;
      part.scrollIntoView({ block: "nearest" });
    });
  }

  /* A button for files does not count them. */
  function dropCount(button) {
    const text = button.lastChild;
    if (text && text.nodeType === Node.TEXT_NODE && / \(\d+\)$/.test(text.data)) {
      text.data = text.data.replace(/ \(\d+\)$/, "");
    }
  }

  function nameGroup(group) {
    setLabel(group, labelOf(group));
    if (!group.hasAttribute("role")) group.setAttribute("role", "group");
  }

  function namePlot(plot) {
    const title = plot.querySelector(".gtitle");
    setLabel(plot, title ? title.textContent.trim() : "Plot");
    if (!plot.hasAttribute("role")) plot.setAttribute("role", "figure");
  }

  function nameControls() {
    document.querySelectorAll('#rendered_cells [title="null"]').forEach(
      (element) => element.removeAttribute("title"));
    document.querySelectorAll(".widget-slider, .widget-hslider, .widget-vslider").forEach(nameSlider);
    document.querySelectorAll(".pw-sliding").forEach(namePair);
    document.querySelectorAll(".widget-toggle-buttons, .widget-radio").forEach(nameGroup);
    document.querySelectorAll(".js-plotly-plot").forEach(namePlot);
    document.querySelectorAll(".widget-upload").forEach(dropCount);
    document.querySelectorAll(".pw-wide").forEach(watchWide);
  }

  /* The picture that a button stands below; the first one where it stands below none. */
  function pictureOf(button) {
    const plots = [...document.querySelectorAll(".js-plotly-plot")];
    const above = plots.filter(
      (plot) => plot.compareDocumentPosition(button) & Node.DOCUMENT_POSITION_FOLLOWING);
    return above.pop() || plots[0];
  }

  function savePicture(button) {
    const plot = pictureOf(button);
    if (!plot || !window.Plotly) {
      window.alert("There is no picture to save yet.");
      return;
    }
    const format = button.dataset.pwFormat || "svg";
    window.Plotly.downloadImage(plot, {
      format, filename: button.dataset.pwName || "picture", scale: format === "png" ? 2 : 1,
      width: plot.clientWidth, height: plot.clientHeight,
    });
  }

  function onClick(event) {
    const asked = event.target.closest('[data-pw-action="save-picture"]');
    if (asked) savePicture(asked);
  }

  let waiting = false;
  function onChange() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      hideWhenShown();
      nameControls();
      showAnswers();
    });
  }

  document.addEventListener("click", onClick);
  document.addEventListener("DOMContentLoaded", () => {
    window.pwFinished = true;
    setTimeout(sayLate, LATE);
    new MutationObserver(onChange).observe(document.getElementById("rendered_cells"), {
      childList: true, subtree: true, characterData: true, attributeFilter: ["aria-valuetext"],
    });
    window.addEventListener("resize", onChange);
    onChange();
  });
})();
