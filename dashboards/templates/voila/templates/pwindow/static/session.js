/* Watches the page's session: whether its kernel is there, the kernel's messages and its WebSocket.
   Loaded before everything else, because the page's code keeps the WebSocket and the fetch it finds at start. */
"use strict";
(() => {
  const SMALL = 4096; // bytes; a status message is far below, figure data far above
  const GRACE = 2000; // ms in which a dropped connection may come back unnoticed
  const SOON = 80; // ms after which an answer that has not come is said to be worked on
  const HEAD = 2048; // bytes that hold the header of a message
  const ENDED = /"execution_state":\s*"(restarting|autorestarting|dead)"/;
  const IDLE = /"execution_state":\s*"idle"/;
  const STOPPED = "The session behind this page has stopped. Your entries on it are lost; " +
    "reload the page to continue.";
  const LOST = "The connection to this page's session is lost. It is restored automatically when the " +
    "server can be reached again; otherwise reload the page.";
  const NEVER = "The session behind this page ended before the page could be shown. Reload the page.";
  const UNSHOWN = "This page did not come up, and not when it was loaded again either. Reload it, or look at " +
    "what the server says.";
  const SHOWN_WITHIN = 60000; // ms after loading; pages take some seconds, on a busy computer half a minute
  const AGAIN = "pw-loaded-again";
  const KERNEL = /\/api\/kernels\/[^/?]+(\?|$)/;
  const decoder = new TextDecoder();
  let stopped = false;
  let opened = false;
  let leaving = false;
  let lostTimer = null;
  let workTimer = null;
  const asked = new Set(); // ids of messages that the kernel has not done with

  function showBar(text) {
    const bar = document.getElementById("pw-stopped");
    document.getElementById("pw-stopped-text").textContent = text;
    bar.hidden = false;
    window.pwWorking.hide();
  }

  function hideBar() {
    document.getElementById("pw-stopped").hidden = true;
  }

  function idsIn(text) {
    return [...text.matchAll(/"msg_id":\s*"([^"]+)"/g)].map((found) => found[1]);
  }

  function bytesOf(data) {
    return ArrayBuffer.isView(data)
      ? new Uint8Array(data.buffer, data.byteOffset, data.byteLength) : new Uint8Array(data);
  }

  /* The first id of a frame is of its header, which stands before all that may be long. */
  function onSend(data) {
    const [id] = idsIn(typeof data === "string" ? data.slice(0, HEAD) : decoder.decode(bytesOf(data).subarray(0, HEAD)));
    if (id === undefined) return;
    asked.add(id);
    workTimer ??= setTimeout(sayBusy, SOON, true);
  }

  function onIdle(text) {
    idsIn(text).forEach((id) => asked.delete(id));
    if (asked.size === 0) sayBusy(false);
  }

  function sayBusy(busy) {
    if (!busy) {
      clearTimeout(workTimer);
      workTimer = null;
    }
    const note = document.getElementById("pw-busy");
    if (note) note.textContent = busy ? "Working…" : "";
    document.documentElement.classList.toggle("pw-waiting", busy);
  }

  function onMessage(event) {
    const data = event.data;
    const size = typeof data === "string" ? data.length : data.byteLength;
    if (stopped || !(size < SMALL)) return;
    const text = typeof data === "string" ? data : decoder.decode(data);
    if (IDLE.test(text)) onIdle(text);
    if (ENDED.test(text)) {
      stopped = true;
      sayBusy(false);
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
      this.watched = true;
    }

    send(data) {
      if (this.watched) onSend(data);
      super.send(data);
    }
  };

  /* A script or a message that is lost on its way would leave the page empty for good. */
  function checkShown() {
    if (stopped || leaving) return;
    if (document.querySelector(".jupyter-widgets")) {
      sessionStorage.removeItem(AGAIN);
    } else if (sessionStorage.getItem(AGAIN)) {
      showBar(UNSHOWN);
    } else {
      console.warn(`nothing was shown within ${SHOWN_WITHIN / 1000} s: the page is loaded again`);
      sessionStorage.setItem(AGAIN, "once");
      window.location.reload();
    }
  }

  window.addEventListener("load", () => setTimeout(checkShown, SHOWN_WITHIN));
  window.addEventListener("beforeunload", () => { leaving = true; });
  document.addEventListener("click", (event) => {
    if (event.target.id === "pw-reload") window.location.reload();
  });
})();
