"use strict";
(() => {
  const one = (what, from = document) => from.querySelector(what);
  const all = (what, from = document) => [...from.querySelectorAll(what)];
  const body = document.body, strip = one(".long"), sound = one("audio");
  const rows = all("tbody tr"), starts = rows.map(r => +r.dataset.s), ends = rows.map(r => +r.dataset.e);
  const blocks = all(".long .c"), length = strip ? +strip.dataset.length : 0, begins = strip ? +strip.dataset.begins : 0;
  const along = t => (t - begins) / length * 100 + "%";
  const clock = s => { const t = Math.max(0, Math.round(s * 10)) / 10; return Math.floor(t / 60) + ":" + (t % 60).toFixed(1).padStart(4, "0"); };

  // sort and filter
  const list = one("tbody"), told = one("#found");
  all("th button").forEach(button => button.addEventListener("click", () => {
    const head = button.closest("th"), by = head.dataset.by, down = head.getAttribute("aria-sort") === "ascending";
    all("th[aria-sort]").forEach(h => h.setAttribute("aria-sort", "none"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const value = r => by === "s" ? +r.dataset.s : r.dataset[by] || "\uffff";
    const order = rows.slice().sort((a, b) => {
      const x = value(a), y = value(b);
      return (x < y ? -1 : x > y ? 1 : a.dataset.s - b.dataset.s) * (down ? -1 : 1);
    });
    list.append(...order);
  }));
  const plain = text => text.toLowerCase().replaceAll("♭", "b").replaceAll("♯", "#");
  const filter = one("#filter");
  if (filter) filter.addEventListener("input", () => {
    const words = plain(filter.value).split(/\s+/).filter(Boolean);
    let shown = 0;
    rows.forEach(r => {
      const text = plain(r.textContent + " " + (one(".k", r)?.getAttribute("aria-label") ?? ""));
      r.hidden = !words.every(w => text.includes(w));
      shown += !r.hidden;
    });
    told.textContent = shown + " of " + rows.length;
  });

  // covered answers
  const uncover = one("#uncover");
  if (uncover) uncover.addEventListener("click", () => {
    const covered = body.classList.toggle("covered");
    all(".seen").forEach(e => e.classList.remove("seen"));
    uncover.textContent = covered ? "Show all answers" : "Cover the answers";
  });
  all(".show").forEach(b => b.addEventListener("click", () => {
    const row = b.closest("tr");
    b.setAttribute("aria-pressed", row.classList.toggle("seen"));
    const at = rows.indexOf(row);
    if (blocks[at]) blocks[at].classList.toggle("seen", row.classList.contains("seen"));
  }));

  // closer and wider
  let zoom = 1;
  const closer = factor => {
    const box = strip.parentElement, middle = (box.scrollLeft + box.clientWidth / 2) / strip.offsetWidth;
    zoom = factor ? Math.min(400, Math.max(1, zoom * factor)) : 1;
    strip.style.width = zoom * 100 + "%";
    box.scrollLeft = middle * strip.offsetWidth - box.clientWidth / 2;
  };
  if (strip) {
    one("#closer").addEventListener("click", () => closer(2));
    one("#wider").addEventListener("click", () => closer(.5));
    one("#whole").addEventListener("click", () => closer(0));
    strip.addEventListener("click", e => {
      const box = strip.getBoundingClientRect(), at = begins + (e.clientX - box.left) / box.width * length;
      if (sound) go(at); else {
        const nth = chordAt(at);
        if (nth >= 0) rows[nth].scrollIntoView({ block: "center" });
      }
    });
    // as close as a chord of middling length can be read, where that is not too long a way
    const mean = rows.length ? length / rows.length : length;
    zoom = Math.min(40, Math.max(1, 92 * length / mean / Math.max(strip.offsetWidth, 1)));
    strip.style.width = zoom * 100 + "%";
  }
  function chordAt(at) {
    let low = 0, high = starts.length;
    while (low < high) { const mid = (low + high) >> 1; if (starts[mid] <= at + .001) low = mid + 1; else high = mid; }
    return low - 1 >= 0 && at < ends[low - 1] ? low - 1 : -1;
  }

  // the sound
  if (!sound) return;
  const play = one("#play"), at = one("#at"), slow = one("#slow"), time = one("#time"), name = one("#told"), head = one(".long i"), mark = one(".long b");
  const keys = new Map(all("#keys [data-k]").map(k => [+k.dataset.k, k]));
  const notes = JSON.parse(one("#notes").textContent);
  let loop = null, current = -1, lit = new Set(), from = null;
  sound.preservesPitch = true;
  const now = () => sound.currentTime + begins, to = t => { sound.currentTime = Math.max(0, t - begins); };
  const go = t => { to(t); sound.play(); };
  play.addEventListener("click", () => sound.paused ? sound.play() : sound.pause());
  slow.addEventListener("change", () => { sound.playbackRate = +slow.value; });
  at.addEventListener("input", () => { to(+at.value); show(); });
  rows.forEach((r, i) => one(".from", r).addEventListener("click", () => { if (loop && (starts[i] < loop[0] || starts[i] >= loop[1])) setLoop(null); go(starts[i]); }));
  const loopText = one("#loop");
  function setLoop(stretch) {
    loop = stretch;
    loopText.textContent = loop ? "Loop " + clock(loop[0]) + " to " + clock(loop[1]) : "No loop";
    mark.hidden = !loop;
    if (loop) { mark.style.left = along(loop[0]); mark.style.width = (loop[1] - loop[0]) / length * 100 + "%"; }
  }
  one("#this").addEventListener("click", () => {
    const nth = current >= 0 ? current : chordAt(now());
    if (nth >= 0) { setLoop([starts[nth], ends[nth]]); go(starts[nth]); }
  });
  one("#here").addEventListener("click", () => { from = now(); loopText.textContent = "Loop from " + clock(from) + " to …"; });
  one("#there").addEventListener("click", () => { const until = now(); if (from !== null && until > from + .1) { setLoop([from, until]); go(from); } });
  one("#free").addEventListener("click", () => { from = null; setLoop(null); });
  document.addEventListener("keydown", e => {
    if (e.key === " " && !["BUTTON", "INPUT", "SELECT", "TEXTAREA"].includes(e.target.tagName)) { e.preventDefault(); play.click(); }
  });
  function show() {
    const t = now();
    if (!at.matches(":active")) at.value = t;
    at.setAttribute("aria-valuetext", clock(t));
    time.textContent = clock(t);
    head.style.left = along(t);
    const nth = chordAt(t);
    if (nth !== current) {
      if (current >= 0) { rows[current].removeAttribute("aria-current"); blocks[current].classList.remove("now"); }
      current = nth;
      if (current >= 0) {
        rows[current].setAttribute("aria-current", "true");
        blocks[current].classList.add("now");
        if (zoom > 1 && !sound.paused) {
          const box = strip.parentElement, x = (starts[current] - begins) / length * strip.offsetWidth;
          if (x < box.scrollLeft || x > box.scrollLeft + box.clientWidth * .8) box.scrollLeft = x - box.clientWidth * .1;
        }
      }
      name.textContent = current >= 0 ? rows[current].dataset.name : "";
      name.classList.toggle("seen", current >= 0 && rows[current].classList.contains("seen"));
    }
    const ms = t * 1000, sounding = new Set();
    let low = 0, high = notes.length;
    while (low < high) { const mid = (low + high) >> 1; if (notes[mid][0] <= ms) low = mid + 1; else high = mid; }
    for (let i = low - 1; i >= 0 && i > low - 80; i--) if (notes[i][1] > ms) sounding.add(notes[i][2]);
    lit.forEach(k => { if (!sounding.has(k)) keys.get(k)?.classList.remove("lit"); });
    sounding.forEach(k => keys.get(k)?.classList.add("lit"));
    lit = sounding;
  }
  function run() {
    if (loop && now() >= loop[1]) to(loop[0]);
    show();
    if (!sound.paused) requestAnimationFrame(run);
  }
  sound.addEventListener("play", () => { play.textContent = "Pause"; requestAnimationFrame(run); });
  sound.addEventListener("pause", () => { play.textContent = "Play"; show(); });
  sound.addEventListener("ended", () => { if (loop) go(loop[0]); });
  setLoop(null);
  show();
})();
