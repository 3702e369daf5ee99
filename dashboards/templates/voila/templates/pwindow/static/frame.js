/* The colours of the page, its address and the links to other pages.
   Colours: the visitor's choice (in the address, else kept by the browser), else the system's preference. */
"use strict";
(() => {
  const KEPT = "pwindow.colours";
  const NAMES = ["light", "dark"];
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  let shared = null; // the part of the query that other pages are given too
  let own = "";

  function kept() {
    try {
      return window.localStorage.getItem(KEPT);
    } catch {
      return null; // storage may be forbidden
    }
  }

  function keep(name) {
    try {
      if (name) window.localStorage.setItem(KEPT, name);
      else window.localStorage.removeItem(KEPT);
    } catch {
      return; // the choice then lasts as long as the address does
    }
  }

  function fromAddress() {
    const name = new URLSearchParams(window.location.search).get("colours");
    return NAMES.includes(name) ? name : null;
  }

  const remembered = kept();
  let chosen = fromAddress() || (NAMES.includes(remembered) ? remembered : "");
  const colours = () => chosen || (system.matches ? "dark" : "light");

  function tellKernel() {
    const input = document.querySelector(".pw-colours input");
    if (!input || input.value === colours()) return;
    input.value = colours();
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function paint() {
    document.documentElement.dataset.theme = colours();
    if (!document.body) return;
    document.body.dataset.jpThemeLight = String(colours() === "light");
    tellKernel();
  }

  function query(...parts) {
    const all = [...parts, chosen && `colours=${chosen}`].filter(Boolean).join("&");
    return all && `?${all}`;
  }

  function withoutColours() {
    return window.location.search.slice(1).split("&").filter((part) => !part.startsWith("colours=")).join("&");
  }

  function showAddress() {
    const known = shared === null ? withoutColours() : shared;
    window.history.replaceState(null, "", window.location.pathname + query(known, own));
    document.querySelectorAll(".pw-top nav a").forEach((link) => {
      link.href = link.getAttribute("href").split("?")[0] + query(known);
    });
  }

  function onChange() {
    const told = document.querySelector(".pw-query [data-pw-query]");
    if (told && (told.dataset.pwQuery !== shared || told.dataset.pwOwn !== own)) {
      shared = told.dataset.pwQuery;
      own = told.dataset.pwOwn;
      showAddress();
    }
    tellKernel();
  }

  function start() {
    const select = document.getElementById("pw-colours");
    select.value = chosen;
    select.addEventListener("change", () => {
      chosen = select.value;
      keep(chosen);
      paint();
      showAddress();
    });
    system.addEventListener("change", paint);
    paint();
    showAddress();
    new MutationObserver(onChange).observe(document.getElementById("rendered_cells"), {
      childList: true, subtree: true,
    });
    onChange();
  }

  paint();
  document.addEventListener("DOMContentLoaded", start);
})();
