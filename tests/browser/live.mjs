// A whole test watched live: live.mjs URL FOLDER
//
// A tester that waits and a feed that stays with it are at the bench. Once by pointer, once by keyboard alone, once
// without script; pictures of what is seen at phone, laptop and wall size go into FOLDER.
import assert from "node:assert/strict";

import { SIZES, axe, expect, finish, fits, launch, picture, watched } from "./browser.mjs";

const [base, folder] = process.argv.slice(2);
const browser = await launch();

async function look(options) {
  const page = await watched(await browser.newContext(options), base);
  await page.goto(base);
  return page;
}

const text = (page, id) => page.textContent(`#${id}`);
const shows = (page, id, wanted) => page.waitForFunction(
  ([id, wanted]) => document.getElementById(id)?.textContent.includes(wanted), [id, wanted], { timeout: 60_000 });
const has = (page, selector) => page.waitForSelector(selector, { timeout: 60_000 });
const number = async (page, id) => Number(await text(page, id));

// What moves while a spring is pressed: figures, the curve, the words beside it.
async function watchPress(page) {
  await shows(page, "state", "Measuring");
  const seen = [];
  const until = Date.now() + 60_000;
  let length = 0;
  while (seen.length < 5 && Date.now() < until) {
    const [load, deflection] = [await number(page, "load"), await number(page, "deflection")];
    const points = await page.evaluate(() =>
      [...document.querySelectorAll("#plot polyline[data-points]")].map((line) => line.dataset.points).join(";").length);
    if (points > length && load > 20) seen.push({ load, deflection, points });
    length = points;
    await page.waitForTimeout(60);
  }
  assert.equal(seen.length, 5, `the curve grew ${seen.length} times`);
  assert.ok(seen.at(-1).load > seen[0].load && seen.at(-1).deflection > seen[0].deflection, JSON.stringify(seen));
  await page.waitForFunction(() => /contact/.test(document.getElementById("plot").textContent)
    && /window/.test(document.getElementById("plot").textContent));
  // The first readings above contact give a rate too, and a poor one: it must come right while the spring is still pressed.
  await page.waitForFunction(() => Math.abs(Number(document.getElementById("rate").textContent) - 9.5) < 0.5
    && document.getElementById("state").textContent.includes("Measuring"), null, { timeout: 30_000 });
}

// By pointer.
async function byPointer() {
  const page = await look({ viewport: SIZES.laptop });
  const others = [await look({ viewport: SIZES.phone, hasTouch: true }), await look({ viewport: SIZES.wall, colorScheme: "dark" })];
  await shows(page, "state", "waiting for the start");
  await page.click("#tare");
  await shows(page, "answer", "Tare taken: 1.");
  await page.click("#new-spring summary");
  await page.fill("#label", "<b>left</b> & fork");
  await page.fill("#marking", "9.3 N/mm");
  await page.click("#name-it");
  await shows(page, "spring", "<b>left</b> & fork");
  await page.click("#start");
  await Promise.all([page, ...others].map(watchPress));
  const all = [["laptop", page], ["phone", others[0]], ["wall", others[1]]];
  for (const [name, one] of all) {
    await picture(one, folder, `live-${name}`);
    await fits(one, `the bench on a ${name}`);
  }
  await Promise.all(all.map(([name, one]) => axe(one, `measuring, ${name}`)));
  const size = await others[1].evaluate(() => parseFloat(getComputedStyle(document.getElementById("load")).fontSize));
  expect(size >= 90, `the figures on a wall are ${size} px high, too small for two metres`);
  await shows(page, "verdict", "9.3 N/mm");
  const verdict = await text(page, "verdict");
  assert.match(verdict, /measured 9\.\d+ ± 0\.\d+ N\/mm: \d\.\d % stiff/, verdict);
  await shows(page, "state", "waiting for the start");
  await shows(page, "caption", "last test");
  await page.click("#keep");
  // Whoever looks on sees it too.
  await Promise.all([page, ...others].map((one) => shows(one, "last", "Kept")));
  for (const [name, one] of all) {
    await picture(one, folder, `kept-${name}`);
    await fits(one, `the kept test on a ${name}`);
  }
  await Promise.all(all.map(([name, one]) => axe(one, `kept, ${name}`)));
  const report = await page.getAttribute("#last a[href$='/report']", "href");
  await page.click("#last a[href$='/report']");
  await page.waitForURL(base + report);
  assert.match(await page.textContent("body"), /9\.\d+ ± 0\.\d+ N\/mm/);
  for (const one of [page, ...others]) await one.context().close();
  return verdict;
}

// A second spring, by keys alone: Tab to a control by its id, then Enter or the arrows.
async function byKeys() {
  const page = await look({ viewport: SIZES.laptop });
  const focused = () => page.evaluate(() => document.activeElement?.id ?? "");
  async function reach(id) {
    const passed = [];
    for (let step = 0; step < 80; step += 1) {
      await page.keyboard.press("Tab");
      const at = await focused();
      if (at === id) return;
      passed.push(at);
    }
    assert.fail(`#${id} is not reached by Tab: ${passed.join(" ")}`);
  }
  await shows(page, "state", "waiting for the start");
  await reach("repeat");
  await page.keyboard.press("Enter");
  await watchPress(page);
  await reach("finish");
  await page.keyboard.press("Enter");
  await shows(page, "state", "waiting for the start");
  // The test just finished is given back to no spring, and then to the one it was.
  await has(page, "#spring-last");
  await reach("spring-last");
  await page.keyboard.press("Home");
  await reach("assign-last");
  await page.keyboard.press("Enter");
  await shows(page, "last", "No spring is named");
  await reach("spring-last");
  await page.keyboard.press("End");
  await reach("assign-last");
  await page.keyboard.press("Enter");
  await has(page, "#keep");
  await reach("keep");
  await page.keyboard.press("Enter");
  await shows(page, "last", "Kept");
  // Stopped on the way: the bench asks what becomes of it.
  await reach("start");
  await page.keyboard.press("Enter");
  await shows(page, "state", "Measuring");
  await page.waitForFunction(() => Number(document.getElementById("load").textContent) > 50);
  await reach("stop");
  await page.keyboard.press("Enter");
  await shows(page, "state", "Stopped");
  await reach("discard");
  await page.keyboard.press("Enter");
  await shows(page, "state", "waiting for the start");
  await page.context().close();
}

// Plain forms, and looking again.
async function withoutScript() {
  const page = await look({ viewport: SIZES.phone, javaScriptEnabled: false });
  assert.match(await text(page, "state"), /waiting/);
  await page.click("#start");
  let state = "";
  for (let tries = 0; tries < 100 && state !== "Measuring"; tries += 1) {
    await page.waitForTimeout(50);
    await page.click("[data-without-script] a");
    state = await text(page, "state");
  }
  assert.equal(state, "Measuring");
  await page.click("#stop");
  for (let tries = 0; tries < 100 && !state.startsWith("Stopped"); tries += 1) {
    await page.waitForTimeout(50);
    await page.click("[data-without-script] a");
    state = await text(page, "state");
  }
  await picture(page, folder, "without-script-phone");
  await page.click("#discard");
  await page.context().close();
}

// What is refused is said on the page, and nothing is lost.
async function refusals() {
  const page = await look({ viewport: SIZES.laptop });
  await page.click("#new-spring summary");
  await page.fill("#label", "right");
  await page.fill("#marking", "9,5 N/mm");
  await page.click("#name-it");
  await shows(page, "problem", "decimal sign is a point");
  assert.equal(await page.inputValue("#label"), "right");
  const posted = await page.request.post(`${base}/bench/instruct`, {
    headers: { origin: "http://elsewhere.example", "sec-fetch-site": "cross-site" },
    form: { tell: "start" },
  });
  assert.equal(posted.status(), 403);
  await page.context().close();
}

try {
  const verdict = await byPointer();
  console.log(`by pointer: ${verdict}`);
  await byKeys();
  console.log("by keys: repeated, reassigned, kept, stopped, discarded");
  await withoutScript();
  console.log("without script: started, stopped, discarded");
  await refusals();
  console.log("refusals are said");
} finally {
  await browser.close();
}
finish("the bench was watched and worked");
