// Draws the ward screen from what the feed says, and watches it: whatever is not news of the last seconds is taken off
// the screen. It stands in the body, over Streamlit's own page; it goes when the feed goes.
(() => {
  const LIMIT_MS = 10000;
  const GONE_MS = 1500;
  const CROWD_PX = 14;
  const words = window.swWords;
  const old = window.swWall;
  if (old) { clearInterval(old.timer); old.observer.disconnect(); old.root.remove(); }
  const now = () => performance.now();
  const wall = window.swWall = { beat: "", date: Date.now(), tick: now(), revs: {}, gap: 0, gone: now(), wants: [] };

  const made = (tag, id, parent, role) => {
    const node = document.createElement(tag);
    node.id = id;
    if (role) { node.setAttribute("role", role); }
    parent.appendChild(node);
    return node;
  };
  const root = wall.root = made("div", "sw-wall", document.body, "region");
  const bar = made("div", "wall-bar", root);
  const soundButton = made("button", "wall-sound", bar);
  const pauseButton = made("button", "wall-pause", bar);
  const themeButton = made("button", "wall-theme", bar);
  const slots = made("div", "wall-slots", root);
  const tiles = made("div", "wall-tiles", slots);
  const dead = made("section", "wall-dead", root, "alert");
  const voice = made("div", "wall-voice", root, "status");
  soundButton.type = pauseButton.type = themeButton.type = "button";
  pauseButton.textContent = words.pause;

  // -- day and night
  const themes = ["Auto", "Day", "Night"];
  const kept = () => {
    try { return localStorage.getItem("sw-wall-theme") || "Auto"; } catch { return wall.theme || "Auto"; }
  };
  const dress = () => {
    const choice = kept();
    const night = choice === "Auto" ? wall.night : choice === "Night";
    document.documentElement.dataset.swTheme = night ? "night" : "day";
    const text = words[`theme${choice}`];
    if (themeButton.textContent !== text) { themeButton.textContent = text; }
  };
  themeButton.addEventListener("click", () => {
    wall.theme = themes[(themes.indexOf(kept()) + 1) % themes.length];
    try { localStorage.setItem("sw-wall-theme", wall.theme); } catch { /* kept for this page only */ }
    dress();
  });

  // -- the sound and what is said of it
  soundButton.addEventListener("click", () => window.swSound.allow());
  pauseButton.addEventListener("click", () => window.swSound.pause(now()));
  const clock = (ms) => `${Math.floor(ms / 60000)}:${String(Math.ceil(ms / 1000) % 60).padStart(2, "0")}`;
  const hear = () => {
    const [state, more] = window.swSound.turn(now());
    const text = {
      off: words.soundOff, blocked: words.soundBlocked, none: words.soundNone, calm: words.soundOn,
      sounding: words[`sound${(more || "").toString().replace(/^./, (c) => c.toUpperCase())}`],
      acked: words.soundAcked.replace("{min}", more), paused: words.soundPaused.replace("{left}", clock(more)),
    }[state];
    if (soundButton.textContent !== text) { soundButton.textContent = text; }
    soundButton.dataset.state = state;
    pauseButton.hidden = state !== "sounding";
  };

  // -- parts
  const place = (node, name) => {
    const before = document.getElementById(name);
    node.id = name;
    node.removeAttribute("data-part");
    if (before && root.contains(before)) { before.replaceWith(node); return; }
    (name.startsWith("tile-") ? tiles : slots).appendChild(node);
  };
  // Puts in place what changed, and returns whether anything did.
  const take = (feed) => {
    let changed = false;
    const wants = feed.dataset.revs.split(" ").map((one) => one.split(/:(?=[^:]*$)/));
    const told = {};
    for (const part of feed.children) { told[part.dataset.part] = part; }
    for (const [name, rev] of wants) {
      if (wall.revs[name] !== rev && told[name]) {
        place(told[name].cloneNode(true), name);
        wall.revs[name] = rev;
        changed = true;
      }
    }
    const names = new Set(wants.map(([name]) => name));
    for (const name of Object.keys(wall.revs)) {
      if (!names.has(name)) { delete wall.revs[name]; document.getElementById(name)?.remove(); changed = true; }
    }
    const order = wants.map(([name]) => name).filter((name) => name.startsWith("tile-"));
    if (order.join(" ") !== [...tiles.children].map((node) => node.id).join(" ")) {
      order.forEach((name) => { const node = document.getElementById(name); if (node) { tiles.appendChild(node); } });
    }
    const lacks = wants.some(([name, rev]) => wall.revs[name] !== rev);
    wall.gap = lacks ? wall.gap || now() : 0;
    return changed;
  };

  const clear = () => {
    Object.keys(wall.revs).forEach((name) => document.getElementById(name)?.remove());
    Object.assign(wall, { revs: {}, stood: "" });
    dead.replaceChildren();
    delete dead.dataset.text;
  };

  // -- sizes: as large as the screen lets them be, without scrolling
  const ruler = document.createElement("canvas").getContext("2d");
  const spread = () => {
    const count = tiles.children.length;
    if (!count) { return Infinity; }
    const [wide, high] = [tiles.clientWidth, tiles.clientHeight];
    const style = getComputedStyle(root);
    ruler.font = `700 100px ${style.fontFamily}`;
    const names = [...tiles.querySelectorAll(".ww-name b")].map((node) => ruler.measureText(node.textContent).width);
    const longest = Math.max(...names, 200) / 100;
    // Where there is little room, names alone are shown: they can be read from further away than all values small.
    const low = high * wide / count < 0.0135 * window.innerWidth * window.innerHeight;
    const gap = parseFloat(getComputedStyle(tiles).rowGap);
    const words = [...tiles.querySelectorAll(".ww-word")].map((node) => node.textContent.length);
    const lines = Math.max(...words, 0) > 22 ? 3.35 : 2.85;
    let best = { size: 0 };
    for (let columns = 1; columns <= count; columns += 1) {
      const rows = Math.ceil(count / columns);
      const [w, h] = [wide / columns, high / rows];
      const across = low ? longest + 2.2 : Math.max(longest + 2, 7);
      const size = Math.min((w - gap - 6) / across, (h - gap - 4) / (low ? 1.25 : lines));
      if (size > best.size) { best = { size, columns, rows }; }
    }
    const found = best.size;
    // More units than a screen can hold in letters of a size: then alone it scrolls.
    const crowd = best.size < CROWD_PX && window.innerWidth > 640;
    if (crowd) {
      const columns = Math.max(1, Math.floor(wide / (CROWD_PX * (longest + 2.2) + gap + 6)));
      Object.assign(best, { size: CROWD_PX, columns });
    }
    tiles.classList.toggle("ww-crowd", crowd);
    root.style.setProperty("--columns", best.columns);
    root.style.setProperty("--rows", best.rows);
    root.style.setProperty("--name", `${Math.min(best.size, window.innerHeight * 0.075).toFixed(1)}px`);
    tiles.classList.toggle("ww-low-room", low);
    return found;
  };
  const fit = () => {
    let scale = 1;
    root.style.setProperty("--fit", scale);
    const over = () => ["wall-alert", "wall-short", "wall-lost"].some((id) => {
      const node = document.getElementById(id);
      return node && (node.scrollHeight > node.clientHeight + 1 || node.scrollWidth > node.clientWidth + 1);
    });
    // Long texts are set smaller until nothing is cut, and a little more where the units' names would be tiny.
    const phone = window.innerWidth <= 640;
    const tiny = () => spread() < 0.022 * window.innerHeight && scale > 0.78;
    while (!phone && scale > 0.4 && (over() || tiny())) {
      scale -= 0.04;
      root.style.setProperty("--fit", scale.toFixed(2));
    }
    wall.fit = scale;
    spread();
  };
  if (!old) {
    window.addEventListener("resize", () => window.swWall.fitAll());
    document.addEventListener("visibilitychange", () => window.swSound.stayAwake());
  }
  wall.fitAll = fit;

  // -- what is read aloud to a screen reader: that something stands, not every minute of it
  const speak = () => {
    const said = ["#wall-alert h2 b", "#wall-alert h2 span", "#wall-alert.ww-calm b", "#wall-lost h2"]
      .map((one) => root.querySelector(one)?.textContent || "").filter(Boolean).join(" ");
    if (voice.textContent !== said) { voice.textContent = said; }
  };

  const read = () => {
    const feed = document.getElementById("sw-feed");
    if (!feed) { return; }
    wall.gone = now();
    const beat = feed.dataset.beat;
    if (beat === wall.beat) { return; }
    root.setAttribute("aria-label", document.querySelector("#wall-top h1")?.textContent || "");
    Object.assign(wall, { beat, date: Date.now(), tick: now(), night: feed.dataset.night === "1",
      when: feed.dataset.clock, stood: feed.dataset.stood, lost: feed.dataset.lost === "1", took: +feed.dataset.took });
    window.swSound.signals = JSON.parse(feed.dataset.signals);
    const changed = take(feed);
    root.classList.toggle("ww-is-lost", wall.lost);
    root.classList.toggle("ww-is-alert", Boolean(document.querySelector("#wall-alert.ww-alert")));
    dress();
    if (changed) { fit(); speak(); }
  };

  const mourn = (head, long) => {
    const lines = [["h2", head], ["p", long], ["p", words.look]];
    if (wall.stood) { lines.push(["h3", words.stood], ["p", wall.stood]); }
    const text = lines.map((line) => line[1]).join("|");
    if (dead.dataset.text === text) { return; }
    dead.dataset.text = text;
    const line = ([tag, said]) => Object.assign(document.createElement(tag), { textContent: said });
    dead.replaceChildren(...lines.map(line));
  };
  const watch = () => {
    read();
    const gone = now() - wall.gone > GONE_MS;  // another page stands there, or a link was withdrawn
    if (gone && !root.hidden) { clear(); }
    root.hidden = gone;
    // Two clocks: one stands still while the computer sleeps, the other jumps when somebody sets it.
    const age = Math.max(Date.now() - wall.date, now() - wall.tick);
    const gap = wall.gap && now() - wall.gap > LIMIT_MS;
    const bad = age > LIMIT_MS || gap;
    if (bad) {
      const filled = words.deadLong.replace("{when}", wall.when || "?").replace("{age}", Math.round(age / 1000));
      mourn(words.dead, age > LIMIT_MS ? filled : words.gap);
      const sounds = window.swSound.signals;
      if (!sounds.some((one) => one[0] === "dead")) { sounds.push(["dead", "medium", 0]); }
    }
    root.classList.toggle("ww-is-dead", Boolean(bad));
    document.body.classList.toggle("sw-wall-dead", Boolean(bad) && !root.hidden);
    if (!root.hidden) { hear(); } else { window.swSound.signals = []; }
  };
  wall.observer = new MutationObserver(read);
  wall.observer.observe(document.body, { childList: true, subtree: true });
  wall.timer = setInterval(watch, 250);
  wall.night = false;
  dress();
  watch();
})();
