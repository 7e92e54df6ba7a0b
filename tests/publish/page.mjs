// The pages in a real browser: they play from a click, mark what sounds, sort, filter, fit paper, ask nothing of the network and hide nothing from a screen reader.
//   node tests/publish/page.mjs --browser FILE --written DIR [--pictures DIR]
// DIR holds what `make publish-check` had lidprop write.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { parseArgs } from "node:util";
import assert from "node:assert/strict";
import { from, launch, open as opened, tell, widths } from "./browser.mjs";

const axe = fs.readFileSync(from.resolve("axe-core/axe.min.js"), "utf8");
const text = { type: "string" };
const { values: given } = parseArgs({ options: { browser: text, written: text, pictures: text } });
const written = name => path.join(given.written, name);

const browser = await launch(given.browser);
const open = (file, scheme, size) => opened(browser, file, scheme, size);

// Scripts of a driver are let in where a page's policy forbids others.
async function violations(page) {
  const session = await page.context().newCDPSession(page);
  await session.send("Page.setBypassCSP", { enabled: true });
  await page.evaluate(axe);
  const result = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  return result.violations.map(v => `${v.id}: ${v.nodes[0].html.slice(0, 160)} (${v.nodes[0].failureSummary})`);
}

async function picture(page, name, fullPage = true) {
  if (!given.pictures) return;
  // Rows that were never scrolled to are drawn too.
  await page.evaluate(() => document.querySelectorAll("tbody tr").forEach(r => { r.style.contentVisibility = "visible"; }));
  await page.screenshot({ path: path.join(given.pictures, name + ".png"), fullPage });
}

async function pages(page, format, name) {
  const pdf = await page.pdf({ format, preferCSSPageSize: false, path: given.pictures && path.join(given.pictures, `${name}-${format}.pdf`) });
  return pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g).length;
}

async function check(file, name) {
  for (const scheme of ["light", "dark"]) {
    for (const [width, size] of Object.entries(widths)) {
      const page = await open(file, scheme, size);
      assert.deepEqual(page.errors, [], `${name}: no error`);
      assert.deepEqual(page.requests.length, 1, `${name}: nothing is fetched but the page: ${page.requests}`);
      for (const narrow of [size[0], 1000, 760]) {
        if (narrow > size[0]) continue;
        await page.setViewportSize({ width: narrow, height: size[1] });
        const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
        assert.ok(over <= 0, `${name}, ${narrow} pixels: ${over} too wide`);
      }
      await page.setViewportSize({ width: size[0], height: size[1] });
      await picture(page, `${name}-${scheme}-${width}`);
      assert.deepEqual(await violations(page), [], `${name}, ${scheme}, ${width}: axe finds nothing`);
      await page.close();
    }
  }
  tell(`${name}: axe, console, requests`, "nothing found in light and dark, on phone and laptop");
}

// From now on what the page plays is kept, sample by sample.
async function listen(page) {
  await page.evaluate(async () => {
    const context = new AudioContext(), tap = context.createScriptProcessor(1024, 1, 1);
    window.heard = [];
    window.rate = context.sampleRate;
    tap.onaudioprocess = e => window.heard.push(...e.inputBuffer.getChannelData(0));
    const sound = document.querySelector("audio");
    context.createMediaElementSource(sound).connect(tap).connect(context.destination);
    const bytes = Uint8Array.from(atob(sound.src.slice(sound.src.indexOf(",") + 1)), c => c.charCodeAt(0));
    window.whole = (await context.decodeAudioData(bytes.buffer)).getChannelData(0);
    await context.resume();
  });
}

// Where in the recording the first samples lie that were heard, in seconds: by correlation with the recording within 0.3 s of where they should.
async function heardFrom(page, start) {
  return page.evaluate(start => {
    const { heard, whole, rate } = window;
    const first = heard.findIndex(x => Math.abs(x) > 1e-4), length = Math.round(0.25 * rate);
    if (first < 0 || heard.length < first + length) return NaN;
    let best = -Infinity, found = NaN;
    for (let at = Math.max(0, Math.round((start - 0.3) * rate)); at < (start + 0.3) * rate; at += 2) {
      let product = 0, power = 1e-9;
      for (let i = 0; i < length; i += 4) { const y = whole[at + i] ?? 0; product += heard[first + i] * y; power += y * y; }
      const alike = product / Math.sqrt(power);
      if (alike > best) { best = alike; found = at / rate; }
    }
    return found;
  }, start);
}

{
  const file = written("borrowed-dominants.html");
  await check(file, "page");
  const page = await open(file);
  const rows = page.locator("tbody tr");
  const count = await rows.count();
  assert.ok(count >= 5, `${count} rows`);

  await listen(page);
  let worst = 0;
  for (const at of [2, 0, count - 2]) {
    const row = rows.nth(at);
    const start = Number(await row.getAttribute("data-s"));
    // A busy computer may lose the first samples: of three clicks the best counts.
    let off = Infinity;
    for (let click = 0; click < 3 && !(off < 0.05); click++) {
      await page.evaluate(() => { document.querySelector("audio").pause(); });
      await page.waitForTimeout(200);
      await page.evaluate(() => { window.heard.length = 0; });
      await row.getByRole("button", { name: /Play from/ }).click();
      await page.waitForTimeout(600);
      const from = await heardFrom(page, start);
      if (Math.abs(from - start) < off) off = Math.abs(from - start);
    }
    assert.ok(off < 0.05, `what is heard begins at the chord: ${off} s off`);
    worst = Math.max(worst, off);
    const now = await page.evaluate(async () => {
      const sound = document.querySelector("audio"), from = sound.currentTime, began = performance.now();
      await new Promise(done => setTimeout(done, 500));
      return { at: sound.currentTime, lasted: sound.currentTime - from, waited: (performance.now() - began) / 1000, paused: sound.paused, lit: document.querySelectorAll("#keys .lit").length };
    });
    assert.ok(!now.paused && now.at > start + 0.2 && Math.abs(now.lasted - now.waited) < 0.25, `plays on from ${start}: ${JSON.stringify(now)}`);
    assert.ok(now.lit >= 3, `${now.lit} keys lit`);
    const [s, e] = await page.locator("tr[aria-current]").evaluate(r => [+r.dataset.s, +r.dataset.e]);
    const t = await page.evaluate(() => document.querySelector("audio").currentTime);
    assert.ok(t >= s - 0.1 && t < e + 0.1, `the chord that sounds is marked: ${t} in ${s} to ${e}`);
  }
  tell("a click plays from the chord", `what is heard begins ${(worst * 1000).toFixed(1)} ms off at most`);

  await page.getByRole("button", { name: "Pause" }).click();
  await page.getByLabel("Speed").selectOption({ label: "50 %" });
  assert.equal(await page.evaluate(() => document.querySelector("audio").playbackRate + "/" + document.querySelector("audio").preservesPitch), "0.5/true");
  await rows.nth(1).getByRole("button", { name: /Play from/ }).click();
  await page.getByRole("button", { name: "Loop this chord" }).click();
  const [s, e] = await rows.nth(1).evaluate(r => [+r.dataset.s, +r.dataset.e]);
  await page.evaluate(end => { document.querySelector("audio").currentTime = end - 0.1; }, e);
  await page.waitForTimeout(800);
  const looped = await page.evaluate(() => document.querySelector("audio").currentTime);
  assert.ok(looped >= s && looped < e - 0.1, `the loop goes back: ${looped} in ${s} to ${e}`);
  await page.getByRole("button", { name: "No loop" }).click();
  await page.getByRole("button", { name: "Pause" }).click();

  const names = () => page.$$eval("tbody tr", all => all.map(r => r.querySelector(".name").textContent));
  await page.getByRole("button", { name: "Chord", exact: true }).click();
  const sorted = await names();
  assert.deepEqual(sorted, [...sorted].sort((a, b) => (a < b ? -1 : a > b ? 1 : 0)), "sorted by name");
  assert.equal(await page.locator("th[data-by=name]").getAttribute("aria-sort"), "ascending");
  await page.getByLabel("Find").fill("dim(maj7)");
  const shown = await page.$$eval("tbody tr:not([hidden])", all => all.map(r => r.textContent));
  assert.ok(shown.length > 0 && shown.length < count && shown.every(t => t.includes("dim(maj7)")), `${shown.length} found`);
  assert.equal(await page.locator("#found").textContent(), `${shown.length} of ${count}`);
  await page.getByLabel("Find").fill("dimmaj7");
  assert.equal(await page.locator("#found").textContent(), `${shown.length} of ${count}`, "brackets need not be typed");
  await page.getByLabel("Find").fill("");
  tell("sort, filter, speed, loop", `${count} rows`);

  await page.getByRole("button", { name: "Time", exact: true }).click();
  await rows.nth(3).getByRole("button", { name: /Play from/ }).focus();
  await page.keyboard.press("Enter");
  await page.waitForFunction(() => !document.querySelector("audio").paused);
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press("Space");
  await page.waitForFunction(() => document.querySelector("audio").paused);
  assert.equal(await page.locator("tr[aria-current]").getAttribute("data-s"), await rows.nth(3).getAttribute("data-s"));
  const strip = await page.locator(".long").boundingBox();
  await page.locator(".long").click({ position: { x: strip.width / 2, y: 20 } });
  const [sought, middle] = await page.evaluate(() => [document.querySelector("audio").currentTime, +document.querySelector(".long").dataset.length / 2]);
  assert.ok(Math.abs(sought - middle) < 0.5, `a click into the strip plays from there: ${sought} for ${middle}`);
  await page.getByRole("button", { name: "Pause" }).click();
  tell("keys of the computer, strip", "Enter plays a chord, the space bar stops, a click into the strip plays from there");

  await page.emulateMedia({ media: "print" });
  await picture(page, "print");
  await page.emulateMedia({ media: null });
  tell("printed on A4", `${await pages(page, "A4", "page")} pages`);
  tell("printed on Letter", `${await pages(page, "Letter", "page")} pages`);
  assert.deepEqual(page.errors, []);
  await page.close();
}

{
  const file = written("covered.html");
  await check(file, "covered");
  const page = await open(file);
  const name = page.locator("tbody tr .name").first();
  assert.ok(!(await name.isVisible()), "names are covered");
  await page.locator("tbody tr").first().getByRole("button", { name: /Show/ }).click();
  assert.ok(await name.isVisible(), "one answer is shown");
  assert.ok(!(await page.locator("tbody tr .name").nth(1).isVisible()), "the others are not");
  await page.getByRole("button", { name: "Show all answers" }).click();
  assert.ok(await page.locator("tbody tr .name").nth(1).isVisible(), "all are shown");
  tell("covered answers", "shown one by one and all at once");
  await page.close();
}

{
  const file = written("silent.html");
  await check(file, "silent");
  const page = await open(file);
  assert.equal(await page.locator("audio").count(), 0);
  const last = page.locator("tbody tr").last();
  await page.getByRole("button", { name: "Whole" }).click();
  const strip = await page.locator(".long").boundingBox(), length = Number(await page.locator(".long").getAttribute("data-length"));
  await page.locator(".long").click({ position: { x: (Number(await last.getAttribute("data-s")) + 0.2) / length * strip.width, y: 20 } });
  await page.waitForTimeout(300);
  assert.ok(await last.evaluate(r => r.getBoundingClientRect().top < innerHeight), "a click into the strip finds the chord");
  tell("a page without sound", "the strip finds the chord");
  await page.close();
}

{
  // More chords than are drawn at once: what is not yet drawn is found, sorted, played and printed all the same.
  const file = written("long.html");
  await check(file, "long");
  for (const size of Object.values(widths)) {
    const page = await open(file, "light", size);
    const rows = page.locator("tbody tr"), drawn = row => row.locator(".pics svg").count();
    const count = await rows.count();
    assert.ok(count > 210, `${count} rows`);
    const last = rows.nth(count - 1), time = await last.locator("td").first().textContent();
    assert.equal(await drawn(rows.first()), 2, "the first chord has keyboard and staff");
    assert.equal(await drawn(last), 0, "the last waits for a reader");
    assert.match(await last.locator(".pics").getAttribute("aria-label"), /^Keyboard: [A-G]/, "its words stand there");
    assert.ok(await page.locator(".long .c").count() > 5, "the strip names what is in sight");

    await page.getByLabel("Find").fill(time);
    assert.equal(await page.locator("#found").textContent(), `1 of ${count}`);
    assert.equal(await page.locator("tbody tr:visible").count(), 1, "the others are hidden");
    await page.waitForFunction(() => document.querySelectorAll("tbody tr:not([hidden]) .pics svg").length === 2);
    await page.getByLabel("Find").fill("");
    assert.equal(await page.locator("tbody tr:visible").count(), count);

    await page.getByRole("button", { name: "Chord", exact: true }).click();
    const names = await page.$$eval("tbody .name", all => all.map(n => n.textContent));
    assert.deepEqual(names, [...names].sort((a, b) => (a < b ? -1 : a > b ? 1 : 0)), "all are sorted by name");
    await page.getByRole("button", { name: "Time", exact: true }).click();

    const late = rows.nth(count - 20);
    assert.equal(await drawn(late), 0);
    const from = await late.getAttribute("data-s");
    await late.getByRole("button", { name: /Play from/ }).click();
    // the first chord is marked before anything plays
    await page.waitForFunction(from => Number(document.querySelector("tr[aria-current]")?.dataset.s) >= from, Number(from));
    await page.waitForFunction(() => document.querySelector("tr[aria-current] .pics svg") && document.querySelector(".long .c.now") && document.querySelector("#keys .lit"));
    const now = await page.locator("tr[aria-current]").getAttribute("data-s");
    assert.ok(Number(now) >= Number(from) && Number(now) < Number(from) + 3, `plays from ${from}, marks ${now}`);
    assert.equal(await page.locator(".long .c.now").textContent(), await page.locator("tr[aria-current] .name").textContent());
    await page.locator("#play").click();

    const undrawn = () => page.locator("tbody [data-p]").count();
    assert.ok(await undrawn() > 0);
    const paper = await pages(page, "A4", `long-${size[0]}`);
    assert.equal(await undrawn(), 0, "on paper all are drawn");
    assert.equal(await page.locator("tbody .pics svg").count(), 2 * count);
    assert.deepEqual(page.errors, []);
    await page.close();
    tell(`a long page, ${size[0]} pixels wide`, `${count} chords found, sorted, played; ${paper} pages of A4`);
  }
  const page = await browser.newPage({ javaScriptEnabled: false });
  await page.goto(pathToFileURL(path.resolve(file)).href);
  assert.ok(await page.locator("noscript p", { hasText: "Scripts are switched off" }).isVisible());
  assert.ok(await page.locator("tbody tr").last().locator(".name").isVisible(), "names can be read without scripts");
  await page.close();
}

for (const [name, headings] of [["sheet", 12], ["progression", 12]]) {
  const file = written(`${name}.html`);
  await check(file, name);
  const page = await open(file);
  assert.equal(await page.locator(".cell").count(), headings);
  for (const format of ["A4", "Letter"]) {
    const count = await pages(page, format, name);
    assert.equal(count, 1, `${name}: twelve keys on one page of ${format}: ${count}`);
  }
  await page.close();
  tell(`${name}: twelve keys`, "one page of A4, one of Letter");
}

{
  const file = written("no-chord.html");
  await check(file, "no-chord");
  const page = await open(file);
  assert.ok(await page.getByText("No chord was heard").isVisible());
  await page.close();
}

await check(written("comparison.html"), "comparison");

{
  const { WebVTTParser } = from("webvtt-parser");
  let count = 0;
  for (const file of fs.readdirSync(given.written).filter(name => name.endsWith(".vtt"))) {
    const { errors, cues } = new WebVTTParser().parse(fs.readFileSync(written(file), "utf8"));
    assert.deepEqual(errors, [], file);
    assert.ok(cues.length > 0, file);
    count += cues.length;
  }
  assert.ok(count > 0, "captions were written");
  tell("captions by webvtt-parser", `${count} cues, no fault`);
}

await browser.close();
