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
    slider.querySelectorAll(".widget-readout").forEach((box) => {
      setLabel(box, label + ", value");
      if (!box.hasAttribute("role")) box.setAttribute("role", "textbox");
    });
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
    document.querySelectorAll(".widget-toggle-buttons, .widget-radio").forEach(nameGroup);
    document.querySelectorAll(".js-plotly-plot").forEach(namePlot);
  }

  function savePicture(asked) {
    const plot = document.querySelector(".js-plotly-plot");
    const button = plot && plot.querySelector('.modebar-btn[data-title^="Download plot"]');
    if (!button) {
      window.alert("There is no plot to save on this page yet.");
      return;
    }
    const options = plot._context.toImageButtonOptions;
    plot._context.toImageButtonOptions = Object.assign({}, options, {
      format: asked.pwFormat || (options && options.format) || "svg",
      filename: asked.pwName || (options && options.filename) || "set-up-speed",
    });
    button.click();
  }

  function onClick(event) {
    const asked = event.target.closest('[data-pw-action="save-picture"], .pw-save-picture');
    if (asked) savePicture(asked.dataset);
  }

  let waiting = false;
  function onChange() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      hideWhenShown();
      nameControls();
    });
  }

  document.addEventListener("click", onClick);
  document.addEventListener("DOMContentLoaded", () => {
    window.pwFinished = true;
    setTimeout(sayLate, LATE);
    new MutationObserver(onChange).observe(document.getElementById("rendered_cells"), {
      childList: true, subtree: true, characterData: true,
    });
    onChange();
  });
})();
