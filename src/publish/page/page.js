"use strict";
(() => {
  const one = (what, from = document) => from.querySelector(what);
  const all = (what, from = document) => [...from.querySelectorAll(what)];
  const body = document.body, strip = one(".long"), box = strip.parentElement, sound = one("audio");
  const list = one("tbody"), rows = all("tr", list), starts = rows.map(r => +r.dataset.s), ends = rows.map(r => +r.dataset.e);
  const length = +strip.dataset.length, begins = +strip.dataset.begins;
  const along = t => (t - begins) / length * 100 + "%";
  const clock = s => { const t = Math.max(0, Math.round(s * 10)) / 10; return Math.floor(t / 60) + ":" + (t % 60).toFixed(1).padStart(4, "0"); };
  const nameOf = row => one(".name", row).textContent;
  let current = -1;
  // how many of the chords begin by then
  function begunBy(at) {
    let low = 0, high = starts.length;
    while (low < high) { const mid = (low + high) >> 1; if (starts[mid] <= at) low = mid + 1; else high = mid; }
    return low;
  }
  function chordAt(at) {
    const nth = begunBy(at + .001) - 1;
    return nth >= 0 && at < ends[nth] ? nth : -1;
  }

  // pictures of a page of many chords: drawn a screen before one comes to them, and all of them for paper
  const phrases = one("#phrases") && JSON.parse(one("#phrases").textContent);
  const draw = pics => {
    if (pics.dataset.p === undefined) return;
    pics.innerHTML = pics.dataset.p.replace(/[^\w "<=>/#.-]|_/g, sign => phrases[sign] ?? sign);
    delete pics.dataset.p;
  };
  if (phrases) {
    const near = new IntersectionObserver(seen => seen.filter(e => e.isIntersecting).forEach(({ target }) => { near.unobserve(target); draw(one(".pics", target)); }), { rootMargin: "100% 0px" });
    all("[data-p]", list).forEach(pics => near.observe(pics.closest("tr")));
    addEventListener("beforeprint", () => all("tr:not([hidden]) [data-p]", list).forEach(draw));
  }

  // sort and filter
  const told = one("#found"), filter = one("#filter");
  const words = { name: nameOf, num: r => r.cells[4].firstChild?.nodeValue, key: r => r.cells[5].textContent };
  all("th button").forEach(button => button.addEventListener("click", () => {
    const head = button.closest("th"), by = head.dataset.by, down = head.getAttribute("aria-sort") === "ascending";
    all("th[aria-sort]").forEach(h => h.setAttribute("aria-sort", "none"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const keyed = rows.map((row, nth) => ({ row, nth, by: by === "s" ? starts[nth] : words[by](row) || "\uffff" }));
    keyed.sort((a, b) => (a.by < b.by ? -1 : a.by > b.by ? 1 : a.nth - b.nth) * (down ? -1 : 1));
    const order = document.createDocumentFragment();
    keyed.forEach(k => order.append(k.row));
    list.append(order);
  }));
  const plain = text => text.toLowerCase().replaceAll("♭", "b").replaceAll("♯", "#").replace(/[()]/g, "");
  let texts = null;
  function sieve() {
    texts ??= rows.map(r => plain(r.textContent + " " + (one(".pics", r)?.getAttribute("aria-label") ?? "")));
    const wanted = plain(filter.value).split(/\s+/).filter(Boolean);
    let shown = 0;
    rows.forEach((r, nth) => {
      const hidden = !wanted.every(w => texts[nth].includes(w));
      if (r.hidden !== hidden) r.hidden = hidden;
      shown += !hidden;
    });
    told.textContent = shown + " of " + rows.length;
  }
  filter.addEventListener("input", sieve);

  // covered answers
  const uncover = one("#uncover");
  if (uncover) uncover.addEventListener("click", () => {
    const covered = body.classList.toggle("covered");
    all(".seen").forEach(e => e.classList.remove("seen"));
    uncover.textContent = covered ? "Show all answers" : "Cover the answers";
  });
  list.addEventListener("click", e => {
    const button = e.target.closest(".show");
    if (!button) return;
    const row = button.closest("tr"), seen = row.classList.toggle("seen");
    button.setAttribute("aria-pressed", seen);
    blocks.get(rows.indexOf(row))?.classList.toggle("seen", seen);
  });

  // the strip: closer and wider; of many chords it holds those in sight that are wide enough to be told apart
  let zoom = 1;
  const blocks = new Map(all(".c", strip).map((block, nth) => [nth, block]));
  function fill(from, to, pixels) {
    blocks.forEach(block => block.remove());
    blocks.clear();
    for (let nth = Math.max(0, begunBy(from) - 1); nth < rows.length && starts[nth] < to; nth++) {
      if ((ends[nth] - starts[nth]) * pixels < 2) continue;
      const block = document.createElement("span"), name = document.createElement("s");
      block.className = "c";
      block.classList.toggle("now", nth === current);
      block.classList.toggle("seen", rows[nth].classList.contains("seen"));
      block.style.left = along(starts[nth]);
      block.style.width = (ends[nth] - starts[nth]) / length * 100 + "%";
      name.className = "a";
      name.textContent = nameOf(rows[nth]);
      block.append(name);
      blocks.set(nth, block);
    }
    strip.prepend(...blocks.values());
  }
  let due = false;
  const inSight = () => {
    due = false;
    const pixels = strip.offsetWidth / length, from = begins + box.scrollLeft / pixels, wide = box.clientWidth / pixels;
    fill(from - wide, from + 2 * wide, pixels);
  };
  if (phrases) {
    const soon = () => { if (!due) requestAnimationFrame(inSight); due = true; };
    box.addEventListener("scroll", soon, { passive: true });
    new ResizeObserver(soon).observe(strip);
    addEventListener("beforeprint", () => fill(begins, begins + length, 700 / length));
    addEventListener("afterprint", soon);
  }
  const closer = factor => {
    const middle = (box.scrollLeft + box.clientWidth / 2) / strip.offsetWidth;
    zoom = factor ? Math.min(400, Math.max(1, zoom * factor)) : 1;
    strip.style.width = zoom * 100 + "%";
    box.scrollLeft = middle * strip.offsetWidth - box.clientWidth / 2;
  };
  one("#closer").addEventListener("click", () => closer(2));
  one("#wider").addEventListener("click", () => closer(.5));
  one("#whole").addEventListener("click", () => closer(0));
  strip.addEventListener("click", e => {
    const area = strip.getBoundingClientRect(), at = begins + (e.clientX - area.left) / area.width * length;
    if (sound) { go(at); return; }
    const row = rows[chordAt(at)];
    if (row?.hidden) { filter.value = ""; sieve(); }
    row?.scrollIntoView({ block: "center" });
  });
  // as close as a chord of middling length can be read, where that is not too long a way
  zoom = Math.min(40, Math.max(1, 92 * rows.length / Math.max(strip.offsetWidth, 1)));
  strip.style.width = zoom * 100 + "%";

  // the sound
  if (!sound) return;
  const play = one("#play"), at = one("#at"), slow = one("#slow"), time = one("#time"), name = one("#told"), head = one(".long i"), mark = one(".long b");
  const keys = new Map(all("#keys [data-k]").map(k => [+k.dataset.k, k]));
  const notes = JSON.parse(one("#notes").textContent);
  let loop = null, lit = new Set(), from = null;
  sound.preservesPitch = true;
  const now = () => sound.currentTime + begins, to = t => { sound.currentTime = Math.max(0, t - begins); };
  // stopping before the sound has begun is no fault
  const begin = () => sound.play().catch(e => { if (e.name !== "AbortError") throw e; });
  const go = t => { to(t); begin(); };
  play.addEventListener("click", () => sound.paused ? begin() : sound.pause());
  slow.addEventListener("change", () => { sound.playbackRate = +slow.value; });
  at.addEventListener("input", () => { to(+at.value); show(); });
  list.addEventListener("click", e => {
    const button = e.target.closest(".from");
    if (!button) return;
    const start = +button.closest("tr").dataset.s;
    if (loop && (start < loop[0] || start >= loop[1])) setLoop(null);
    go(start);
  });
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
      rows[current]?.removeAttribute("aria-current");
      blocks.get(current)?.classList.remove("now");
      current = nth;
      rows[current]?.setAttribute("aria-current", "true");
      blocks.get(current)?.classList.add("now");
      if (current >= 0 && zoom > 1 && !sound.paused) {
        const x = (starts[current] - begins) / length * strip.offsetWidth;
        if (x < box.scrollLeft || x > box.scrollLeft + box.clientWidth * .8) box.scrollLeft = x - box.clientWidth * .1;
      }
      name.textContent = current >= 0 ? nameOf(rows[current]) : "";
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
