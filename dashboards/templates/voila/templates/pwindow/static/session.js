/* Watches the page's session: whether its kernel is there, the kernel's messages and its WebSocket.
   Loaded before everything else, because the page's code keeps the WebSocket and the fetch it finds at start. */
"use strict";
(() => {
  const SMALL = 4096; // bytes; a status message is far below, figure data far above
  const GRACE = 2000; // ms in which a dropped connection may come back unnoticed
  const ENDED = /"execution_state":\s*"(restarting|autorestarting|dead)"/;
  const STOPPED = "The session behind this page has stopped. Your entries on it are lost; " +
    "reload the page to continue.";
  const LOST = "The connection to this page's session is lost. It is restored automatically when the " +
    "server can be reached again; otherwise reload the page.";
  const NEVER = "The session behind this page ended before the page could be shown. Reload the page.";
  const KERNEL = /\/api\/kernels\/[^/?]+(\?|$)/;
  const decoder = new TextDecoder();
  let stopped = false;
  let opened = false;
  let leaving = false;
  let lostTimer = null;

  function showBar(text) {
    const bar = document.getElementById("pw-stopped");
    document.getElementById("pw-stopped-text").textContent = text;
    bar.hidden = false;
    window.pwWorking.hide();
  }

  function hideBar() {
    document.getElementById("pw-stopped").hidden = true;
  }

  function onMessage(event) {
    const data = event.data;
    const size = typeof data === "string" ? data.length : data.byteLength;
    if (stopped || !(size < SMALL)) return;
    if (ENDED.test(typeof data === "string" ? data : decoder.decode(data))) {
      stopped = true;
      showBar(STOPPED);
    }
  }

  function onOpen() {
    opened = true;
    clearTimeout(lostTimer);
    if (!stopped) hideBar();
  }

  function onClose() {
    if (leaving || stopped) return;
    clearTimeout(lostTimer);
    lostTimer = setTimeout(() => showBar(LOST), GRACE);
  }

  /* A page that comes too late finds no kernel, and would stay empty without a word. */
  const plainFetch = window.fetch;
  window.fetch = async (asked, ...options) => {
    const answer = await plainFetch(asked, ...options);
    if (answer.status === 404 && KERNEL.test(asked.url || String(asked))) {
      stopped = true;
      showBar(opened ? STOPPED : NEVER);
    }
    return answer;
  };

  const Plain = window.WebSocket;
  window.WebSocket = class extends Plain {
    constructor(...given) {
      super(...given);
      if (!/\/api\/kernels\/[^/]+\/channels/.test(this.url)) return;
      this.addEventListener("message", onMessage);
      this.addEventListener("open", onOpen);
      this.addEventListener("close", onClose);
    }
  };

  window.addEventListener("beforeunload", () => { leaving = true; });
  document.addEventListener("click", (event) => {
    if (event.target.id === "pw-reload") window.location.reload();
  });
})();
