// Sheet music as a second program engraves it (the first is in check.py), in a browser: notes and chord symbols as many as are written, and no complaint.
//   node tests/publish/notation.mjs --browser FILE --written DIR [--pictures DIR]
// With --pictures, engravings of both are kept for eyes.
import fs from "node:fs";
import path from "node:path";
import { parseArgs } from "node:util";
import assert from "node:assert/strict";
import { from, launch, tell } from "./browser.mjs";

const text = { type: "string" };
const { values: given } = parseArgs({ options: { browser: text, written: text, pictures: text } });
const browser = await launch(given.browser);
const engraver = fs.readFileSync(from.resolve("opensheetmusicdisplay/build/opensheetmusicdisplay.min.js"), "utf8");
const files = fs.readdirSync(given.written);

async function blank(width) {
  const page = await browser.newPage({ viewport: { width, height: 600 } });
  page.errors = [];
  page.on("console", m => { if (["error", "warning"].includes(m.type())) page.errors.push(m.text()); });
  page.on("pageerror", e => page.errors.push(String(e)));
  await page.setContent("<body style='background:#fff;margin:0'><div id=sheet></div>");
  return page;
}

const keep = async (page, name) => { if (given.pictures) await page.screenshot({ path: path.join(given.pictures, `${name}.png`), fullPage: true }); };

let symbols = 0;
const scores = files.filter(name => name.endsWith(".musicxml"));
assert.ok(scores.length >= 11, `${scores.length} scores`);
for (const name of scores) {
  const score = fs.readFileSync(path.join(given.written, name), "utf8");
  const page = await blank(1000);
  await page.evaluate(engraver);
  const drawn = await page.evaluate(async score => {
    const display = new opensheetmusicdisplay.OpenSheetMusicDisplay("sheet", { backend: "svg", drawingParameters: "compact", autoResize: false });
    await display.load(score);
    display.render();
    const found = { symbols: [], notes: 0 };
    // staff by staff, as the parts of a score stand in its file
    const list = display.GraphicSheet.MeasureList;
    const staves = list[0].map((_, staff) => list.map(measures => measures[staff]));
    for (const measure of staves.flat()) for (const entry of measure?.staffEntries ?? []) {
      for (const container of entry.graphicalChordContainers) found.symbols.push(container.GraphicalLabel.Label.text);
      for (const voice of entry.graphicalVoiceEntries) found.notes += voice.notes.filter(n => !n.sourceNote.isRest()).length;
    }
    return found;
  }, score);
  const roots = [...score.matchAll(/<root-step>(.)<\/root-step>/g)].map(m => m[1]);
  assert.deepEqual(drawn.symbols.map(s => s[0]), roots, `${name}: ${drawn.symbols}`);
  assert.equal(drawn.notes, (score.match(/<note>/g) ?? []).length - (score.match(/<rest/g) ?? []).length, `${name}: notes`);
  assert.deepEqual(page.errors, [], name);
  symbols += roots.length;
  await keep(page, `${path.parse(name).name}-osmd`);
  await page.close();
}
tell("MusicXML by opensheetmusicdisplay", `${scores.length} scores, ${symbols} chord symbols`);

for (const name of given.pictures ? files.filter(name => name.endsWith(".svg")) : []) {
  const page = await blank(1400);
  await page.setContent(`<body style='background:#fff;margin:0'>${fs.readFileSync(path.join(given.written, name), "utf8")}`);
  await keep(page, path.parse(name).name);
  await page.close();
}
await browser.close();
