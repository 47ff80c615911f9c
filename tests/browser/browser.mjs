// What the browser tests share: a real Chromium, and pages that note whatever must not happen.

import { createRequire } from "node:module";
import { mkdirSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const fromTools = createRequire(join(here, "../.tools/node_modules/"));
const { chromium } = fromTools("playwright-core");
const axePath = fromTools.resolve("axe-core/axe.min.js");

// Sizes of a phone at arm's length, a laptop, a screen on the wall.
export const SIZES = {
  phone: { width: 390, height: 844 },
  laptop: { width: 1366, height: 768 },
  wall: { width: 1920, height: 1080 },
};

// A container's root runs this; the rest keeps the browser from calling anybody.
const ARGUMENTS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync",
];

export const launch = () => chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium", args: ARGUMENTS });

const faults = [];

/** Notes a fault unless something holds. All of them are told at the end. */
export const expect = (holds, what) => {
  if (!holds) faults.push(what);
};

/** Ends the script: with what was found wrong, or saying what was done. */
export const finish = (done) => {
  faults.forEach((fault) => console.log(`WRONG: ${fault}`));
  console.log(faults.length ? `${faults.length} faults` : done);
  process.exitCode = faults.length ? 1 : 0;
};

/** A page of a context that notes requests to other hosts, errors of scripts and whatever the content policy refuses. */
export const watched = async (context, base) => {
  const page = await context.newPage();
  const host = new URL(base).host;
  page.on("request", (request) => {
    const url = new URL(request.url());
    expect(url.protocol === "data:" || url.host === host, `${page.url()} asks for ${request.url()}`);
  });
  page.on("console", (message) => {
    expect(message.type() !== "error" || message.text().includes("status of 4"), `${page.url()} says ${message.text()}`);
  });
  page.on("pageerror", (error) => expect(false, `${page.url()} fails: ${error}`));
  return page;
};

/** Serious and critical violations that axe finds. It is put in past the content policy, which a browser's tools may. */
export const axe = async (page, name) => {
  const session = await page.context().newCDPSession(page);
  const { readFileSync } = await import("node:fs");
  await session.send("Runtime.evaluate", { expression: readFileSync(axePath, "utf8") });
  const { result } = await session.send("Runtime.evaluate", {
    expression: `axe.run(document, { resultTypes: ["violations"] }).then((found) => found.violations
      .filter((one) => ["serious", "critical"].includes(one.impact))
      .map((one) => one.id + ": " + one.nodes.map((node) => node.html.slice(0, 160) + " " + node.failureSummary).join(" | ")))`,
    awaitPromise: true,
    returnByValue: true,
  });
  expect(Array.isArray(result.value), `${name}: axe did not run: ${result.description ?? ""}`);
  for (const violation of result.value ?? []) expect(false, `${name}: ${violation}`);
  await session.detach();
};

const CONTROLS = 'a[href], button, input:not([type="hidden"]), select, textarea, summary, [tabindex="0"]';

// Every control in sight is reached by Tab, with its focus shown. Some, as a field for a day, have more than one stop.
export const tabbed = async (page, name, stops = 2) => {
  const count = await page.evaluate((controls) => {
    const shown = [...document.querySelectorAll(controls)].filter((one) => one.checkVisibility());
    shown.forEach((one, index) => { one.dataset.control = index; });
    return shown.length;
  }, CONTROLS);
  const reached = new Set();
  for (let step = 0; step < count + stops; step += 1) {
    await page.keyboard.press("Tab");
    const at = await page.evaluate(() => {
      const one = document.activeElement;
      const outline = getComputedStyle(one).outlineStyle !== "none";
      return one?.dataset.control && { control: one.dataset.control, outline, html: one.outerHTML.slice(0, 80) };
    });
    if (!at) continue;
    reached.add(at.control);
    expect(at.outline, `${name}: the focus on ${at.html} is not shown`);
  }
  expect(reached.size === count, `${name}: Tab reaches ${reached.size} of ${count} controls`);
};

/** Keeps a picture of the whole page. */
export const picture = async (page, folder, name) => {
  mkdirSync(folder, { recursive: true });
  await page.screenshot({ path: join(folder, `${name}.png`), fullPage: true });
};

/** Nothing sticks out to the right: a phone scrolls one way. */
export const fits = async (page, name) => {
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  expect(over <= 0, `${name} is ${over} px wider than the screen`);
};
