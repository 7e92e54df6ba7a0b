// A headless browser, and what the pages that it opened asked for and complained of.
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";

// The packages lie where they were installed, beside the checkout's own files or not.
export const from = createRequire(path.join(process.env.PUBLISH_MODULES ?? import.meta.dirname, "package.json"));
export const widths = { phone: [390, 844], laptop: [1366, 800] };
export const tell = (what, found) => console.log(`${what}: ${found}`);

const QUIET = ["--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

export async function launch(executablePath) {
  const { chromium } = from("playwright-core");
  const browser = await chromium.launch({ executablePath, args: ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required", ...QUIET] });
  tell("browser", browser.version());
  return browser;
}

export async function open(browser, file, colorScheme = "light", [width, height] = widths.laptop) {
  const page = await browser.newPage({ colorScheme, viewport: { width, height } });
  page.requests = [];
  page.errors = [];
  page.on("request", r => { if (!r.url().startsWith("data:")) page.requests.push(r.url()); });
  page.on("console", m => { if (m.type() === "error") page.errors.push(m.text()); });
  page.on("pageerror", e => page.errors.push(String(e)));
  await page.goto(pathToFileURL(path.resolve(file)).href);
  return page;
}
