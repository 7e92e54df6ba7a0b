// The page in a real browser: it plays from a click, marks what sounds, sorts, filters, fits paper, asks nothing of the network and hides nothing from a screen reader.
//   node tests/publish/page.mjs --browser FILE --page FILE [--covered FILE] [--sheet FILE] [--captions FILE] [--pictures DIR]
import { createRequire } from "node:module";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { parseArgs } from "node:util";
import assert from "node:assert/strict";

// The packages lie where they were installed, beside the checkout's own files or not.
const from = createRequire(path.join(process.env.PUBLISH_MODULES ?? import.meta.dirname, "package.json"));
const { chromium } = from("playwright-core");
const axe = fs.readFileSync(from.resolve("axe-core/axe.min.js"), "utf8");
const text = { type: "string" };
const { values: given } = parseArgs({ options: { browser: text, page: text, covered: text, sheet: text, comparison: text, captions: text, pictures: text } });

const browser = await chromium.launch({
  executablePath: given.browser,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"],
});
const widths = { phone: [390, 844], laptop: [1366, 800] };
const tell = (what, found) => console.log(`${what}: ${found}`);

async function open(file, colorScheme = "light", [width, height] = widths.laptop) {
  const page = await browser.newPage({ colorScheme, viewport: { width, height } });
  page.requests = [];
  page.errors = [];
  page.on("request", r => { if (!r.url().startsWith("data:")) page.requests.push(r.url()); });
  page.on("console", m => { if (m.type() === "error") page.errors.push(m.text()); });
  page.on("pageerror", e => page.errors.push(String(e)));
  await page.goto(pathToFileURL(path.resolve(file)).href);
  return page;
}

// Scripts of a driver are let in where a page's policy forbids others.
async function violations(page) {
  const session = await page.context().newCDPSession(page);
  await session.send("Page.setBypassCSP", { enabled: true });
  await page.evaluate(axe);
  const result = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  return result.violations.map(v => `${v.id}: ${v.nodes[0].html.slice(0, 160)} (${v.nodes[0].failureSummary})`);
}

async function picture(page, name, fullPage = true) {
  if (given.pictures) await page.screenshot({ path: path.join(given.pictures, name + ".png"), fullPage });
}

async function pages(page, format) {
  const pdf = await page.pdf({ format, preferCSSPageSize: false, path: given.pictures && path.join(given.pictures, `${format}.pdf`) });
  return pdf.toString("latin1").match(/\/Type\s*\/Page[^s]/g).length;
}

async function check(file, name) {
  for (const scheme of ["light", "dark"]) {
    for (const [width, size] of Object.entries(widths)) {
      const page = await open(file, scheme, size);
      assert.deepEqual(page.errors, [], `${name}: no error`);
      assert.deepEqual(page.requests.length, 1, `${name}: nothing is fetched but the page: ${page.requests}`);
      const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(over <= 0, `${name}, ${width}: ${over} pixels too wide`);
      await picture(page, `${name}-${scheme}-${width}`);
      assert.deepEqual(await violations(page), [], `${name}, ${scheme}, ${width}: axe finds nothing`);
      await page.close();
    }
  }
  tell(`${name}: axe, console, requests`, "nothing found in light and dark, on phone and laptop");
}

if (given.page) {
  await check(given.page, "page");
  const page = await open(given.page);
  const rows = page.locator("tbody tr");
  const count = await rows.count();
  assert.ok(count >= 5, `${count} rows`);

  let worst = 0;
  for (const at of [2, 0, count - 2]) {
    const row = rows.nth(at);
    const start = Number(await row.getAttribute("data-s"));
    await page.evaluate(() => { window.sought = null; document.querySelector("audio").addEventListener("seeked", e => { window.sought ??= e.target.currentTime; }, { once: true }); });
    await row.getByRole("button", { name: /Play from/ }).click();
    await page.waitForFunction(() => window.sought !== null);
    worst = Math.max(worst, Math.abs(await page.evaluate(() => window.sought) - start));
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
  assert.ok(worst < 0.05, `a click plays from the chord: ${worst} s off`);
  tell("a click plays from the chord", `${(worst * 1000).toFixed(1)} ms off at most`);

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

  const names = () => page.$$eval("tbody tr", all => all.map(r => r.dataset.name));
  await page.getByRole("button", { name: "Chord", exact: true }).click();
  const sorted = await names();
  assert.deepEqual(sorted, [...sorted].sort((a, b) => (a < b ? -1 : a > b ? 1 : 0)), "sorted by name");
  assert.equal(await page.locator("th[data-by=name]").getAttribute("aria-sort"), "ascending");
  await page.getByLabel("Find").fill("dim(maj7)");
  const shown = await page.$$eval("tbody tr:not([hidden])", all => all.map(r => r.textContent));
  assert.ok(shown.length > 0 && shown.length < count && shown.every(t => t.includes("dim(maj7)")), `${shown.length} found`);
  assert.equal(await page.locator("#found").textContent(), `${shown.length} of ${count}`);
  await page.getByLabel("Find").fill("");
  tell("sort, filter, speed, loop", `${count} rows`);

  await page.getByRole("button", { name: "Time", exact: true }).click();
  await page.keyboard.press("Tab");
  assert.ok(await page.evaluate(() => document.activeElement !== document.body), "the keyboard goes on");
  await page.emulateMedia({ media: "print" });
  await picture(page, "print");
  await page.emulateMedia({ media: null });
  tell("printed on A4", `${await pages(page, "A4")} pages`);
  tell("printed on Letter", `${await pages(page, "Letter")} pages`);
  assert.deepEqual(page.errors, []);
  await page.close();
}

if (given.covered) {
  await check(given.covered, "covered");
  const page = await open(given.covered);
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

if (given.sheet) {
  await check(given.sheet, "sheet");
  const page = await open(given.sheet);
  assert.equal(await page.locator(".cell").count(), 12);
  for (const format of ["A4", "Letter"]) {
    const count = await pages(page, format);
    assert.equal(count, 1, `twelve keys on one page of ${format}: ${count}`);
  }
  await page.emulateMedia({ media: "print" });
  await picture(page, "sheet-print");
  tell("twelve keys", "one page of A4, one of Letter");
  await page.close();
}

if (given.comparison) await check(given.comparison, "comparison");

if (given.captions) {
  const parser = from("webvtt-parser");
  const { errors, cues } = new parser.WebVTTParser().parse(fs.readFileSync(given.captions, "utf8"));
  assert.deepEqual(errors, []);
  assert.ok(cues.length > 0);
  tell("captions by webvtt-parser", `${cues.length} cues, no fault`);
}

await browser.close();
