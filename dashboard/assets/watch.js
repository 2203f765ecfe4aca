// Watches, in the browser, that the dashboard still talks: the strip's data-beat must go on changing. Nothing on the
// server can say that the server is gone. It also gives the keyboard its place back after a redraw, reads changes of the
// summary to screen readers, and loads a page anew that Streamlit has broken.
(() => {
  const LIMIT_MS = 10000;
  const ANEW_MS = 300000;
  const old = window.swWatch;
  if (old) { clearInterval(old.timer); }
  const watch = window.swWatch = { beat: null, date: Date.now(), tick: performance.now(), said: "", tile: "" };

  const put = (id, role) => {
    let node = document.getElementById(id);
    if (!node) {
      node = document.createElement("div");
      node.id = id;
      node.setAttribute("role", role);
      document.body.appendChild(node);
    }
    return node;
  };
  const lost = put("sw-not-live", "alert");
  const voice = put("sw-voice", "status");

  // Streamlit's list of pages has sections between the list and its items, which says nothing to a screen reader.
  const order = () => {
    for (const list of document.querySelectorAll('[data-testid="stSidebarNavItems"]:not([role])')) {
      list.setAttribute("role", "presentation");
    }
    for (const item of document.querySelectorAll('[data-testid="stSidebarNavItems"] li')) {
      if (!item.parentElement.role && item.parentElement.tagName === "DIV") { item.parentElement.role = "list"; }
    }
  };
  // Streamlit's own parts come one by one, and in a rare order one of them is used before it is there: a box with an
  // error stands where a reading should, for good. What has come by then is there at once when the page is loaded anew.
  const mend = () => {
    const last = Number(sessionStorage.getItem("sw-anew"));
    if (document.querySelector('[data-testid="stErrorElementStack"]') && Math.abs(Date.now() - last) > ANEW_MS) {
      sessionStorage.setItem("sw-anew", String(Date.now()));
      location.reload();
    }
  };
  const look = () => {
    order();
    mend();
    const strip = document.querySelector(".sw-strip");
    const beat = strip ? strip.dataset.beat : null;
    if (beat !== null && beat !== watch.beat) {
      Object.assign(watch, { beat, date: Date.now(), tick: performance.now() });
    }
    // Two clocks: one stands still while the computer sleeps, the other jumps when somebody sets it.
    const age = Math.max(Date.now() - watch.date, performance.now() - watch.tick);
    const bad = age > LIMIT_MS;
    document.body.classList.toggle("sw-dead", bad);
    const text = bad ? (window.swLost || "NOT LIVE: {age} s").replace("{age}", Math.round(age / 1000)) : "";
    if (lost.textContent !== text) { lost.textContent = text; }
    const said = [...document.querySelectorAll(".sw-banner, .sw-summary b, .sw-notice b")].map((n) => n.textContent).join(". ");
    if (said !== watch.said) { watch.said = said; voice.textContent = said; }
    if (watch.tile && document.activeElement === document.body) {
      document.getElementById(watch.tile)?.focus({ preventScroll: true });
    }
  };
  // A tap on a unit changes the page as Streamlit's own links do: as a plain link it loads everything anew, seconds on a
  // slow line. Where the server is lost, or another tab is asked for, the link stays a plain one.
  const go = (event) => {
    const link = event.target.closest?.('[data-testid="stHtml"] a[href^="./unit?"]');
    const other = event.button || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey;
    if (!link || other || event.defaultPrevented || document.body.classList.contains("sw-dead")) { return; }
    event.preventDefault();
    history.pushState({}, "", link.href);
    dispatchEvent(new PopStateEvent("popstate"));
    document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
  };
  if (!old) {
    document.addEventListener("focusin", (event) => {
      const id = event.target.id || "";
      window.swWatch.tile = id.startsWith("tile-") ? id : "";
    });
    document.addEventListener("pointerdown", () => { window.swWatch.tile = ""; });
    document.addEventListener("click", go);
  }
  watch.timer = setInterval(look, 500);
})();
