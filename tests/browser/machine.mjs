// The machines of the book in a real browser: machine.mjs URL FOLDER
//
// The server holds the book that tests/tests/page/machines.rs fills: "tern" with six visits, "spoilt" whose every word is
// hostile, "bare" with nothing entered, and others. Pictures at phone, laptop and wall size go into FOLDER.

import { join } from "node:path";
import { SIZES, axe, expect, finish, fits, launch, picture, tabbed, watched } from "./browser.mjs";

const [base, folder] = process.argv.slice(2);
const TERN = `${base}/machines/tern`;
const LAST = "?setup=tern-5";
const VIEWS = {
  machines: "/machines", tern: "/machines/tern", anew: "/machines/tern?visit=new", bare: "/machines/bare",
  compared: `/machines/tern${LAST}&compare=tern-5&compare=tern-0`, revision: "/machines/tern?setup=tern-0@1",
  spoilt: "/machines/spoilt", often: "/machines/often",
};
const WEIGHT = 100_000;
const HOSTILE = `<script>window.hit=1</script>"'><img src=x onerror=window.hit=1>`;
const RIDER = "Ada Example";

const browser = await launch();
const open = async (options = {}) => {
  const context = await browser.newContext({ viewport: SIZES.laptop, ...options });
  return { context, page: await watched(context, base) };
};
const field = (moment, end, what) => `#${moment}_${end}_${what}`;
const REAR = { alone: field("found", "rear", "alone_pressed"), rider: field("found", "rear", "with_rider_pressed") };

// Every view at every size: one way to scroll, no hindrance, light enough, nothing of other hosts, no title that names anybody.
for (const [size, viewport] of Object.entries(SIZES)) {
  for (const colorScheme of size === "phone" ? ["light", "dark"] : ["light"]) {
    const { context, page } = await open({ viewport, colorScheme });
    for (const [name, path] of Object.entries(VIEWS)) {
      const bodies = [];
      const note = (response) => bodies.push(response.body().catch(() => ""));
      page.on("response", note);
      const response = await page.goto(base + path, { waitUntil: "load" });
      const sizes = (await Promise.all(bodies)).map((body) => body.length);
      page.off("response", note);
      expect(response.status() === 200, `${name} is answered with ${response.status()}`);
      expect(sizes.reduce((sum, one) => sum + one, 0) < WEIGHT, `${name} weighs ${sizes.reduce((sum, one) => sum + one, 0)} bytes`);
      expect(await page.locator("[style], script:not([src])").count() === 0, `${name} has script or style within`);
      expect(!(await page.title()).includes(RIDER) && !page.url().includes("Ada"), `${name} tells who rides in its title or address`);
      expect(await page.evaluate(() => window.hit === undefined), `${name} runs what was entered`);
      await fits(page, `${name} at ${size} size`);
      if (size !== "wall") await axe(page, `${name}, ${colorScheme}, ${size}`);
      await picture(page, folder, `machine-${name}-${size}-${colorScheme}`);
      if (size === "laptop") console.log(`${name}: ${sizes.reduce((sum, one) => sum + one, 0)} bytes`);
    }
    await context.close();
  }
}

// The list: what each is, when it was last here, what waits; the rest on the next view.
const { context: desk, page } = await open();
await page.goto(`${base}/machines?label=tern%2C+inv`);
const row = await page.locator("tr", { has: page.locator('a[href="/machines/tern"]') }).textContent();
expect(/fork: cartridge; rear: single-tube; damping is set at both ends, both ways/.test(row), `the class is not told: ${row}`);
expect(/2026/.test(row) && !/never/.test(row) && /rear|fork/.test(row.split("2026")[1]), `neither last visit nor what waits is told: ${row}`);
await page.goto(`${base}/machines`);
expect(await page.locator("tbody tr").count() === 25, "the list is not paged");
await page.click("text=More machines");
expect(await page.locator("tbody tr").count() === 5, `the second view lists ${await page.locator("tbody tr").count()} machines`);

// In the order of the work.
await page.goto(TERN);
const order = await page.locator("main h1, main h2").allTextContents();
for (const [index, heading] of ["Tern, invented", "Not known yet", "As found", "Judgement"].entries()) {
  expect(order[index] === heading, `heading ${index} is ${order[index]}`);
}
const places = ["As left", "History", "Looking ahead"].map((heading) => order.indexOf(heading));
expect(places.every((place, index) => place > 0 && (index === 0 || place > places[index - 1])), `the order is ${order}`);
const text = await page.textContent("main");
for (const words of [RIDER, "82.0 kg", "shock, invented", "95.00 N/mm", "Rebound 24 clicks".toLowerCase(), "filled in", "Rider's share",
  "Check first", "What would overturn it", "rule table", "rear rebound", "front rebound: no trend", "moves towards closed",
  "A model's estimate", "fork springs", "cost in XTS"]) {
  expect(text.includes(words), `the machine does not say "${words}"`);
}

// What was found last is in the fields; the judgement follows what is typed, and nothing of it goes into the address.
const said = () => page.textContent("#said");
expect(await page.inputValue(REAR.alone) === "589" && await page.inputValue(field("found", "rear", "adjuster_4")) === "6", "the fields are not filled in");
const before = await said();
expect(/^First: /.test(before), `the judgement begins ${before}`);
for (const what of ["pressed", "lifted"]) await page.fill(field("found", "rear", `alone_${what}`), "600");
await page.waitForFunction((was) => document.querySelector("#said").textContent !== was, before);
const hazard = await said();
expect(/^Hazard\. First: set rear preload, less/.test(hazard), `no static sag at the rear is told as "${hazard}"`);
expect(await page.locator("ol.verdicts > li").first().evaluate((one) => one.classList.contains("hazard")), "the hazard does not come first");
for (const what of ["pressed", "lifted"]) await page.fill(field("found", "rear", `with_rider_${what}`), what === "pressed" ? "559" : "561");
await page.waitForFunction(() => document.querySelector("#result").textContent.includes("Springs at hand"));
const ranked = await page.locator("ol.verdicts li li:has-text('by its mark')").first().textContent();
expect(/shock spring 1[012]5, invented \(by its mark\), preload .* mm, static sag .* mm, total sag .* mm: does/.test(ranked), `a spring of the rack is told as ${ranked}`);
expect(page.url() === TERN, `what was typed went to ${page.url()}`);
await page.waitForSelector("#result:not([aria-busy])");
await axe(page, "a judgement drawn anew");
await page.click("button[value=inch]");
await page.waitForURL(`${TERN}${LAST}`);
await page.waitForFunction((was) => document.querySelector("#said").textContent.startsWith("Hazard"), hazard);
expect(await page.inputValue(REAR.alone) === "600 mm" || await page.inputValue(REAR.alone) === "600", `in inches what was typed is ${await page.inputValue(REAR.alone)}`);
expect(/ in(\W|$)/.test(await page.textContent("#result")), "the judgement is not in inches");
await page.click("button[value=metric]");
await page.waitForURL(`${TERN}${LAST}`);

// What cannot be taken is said at its field, and nothing typed is lost.
await page.goto(TERN);
await page.fill(REAR.rider, "56,5");
await page.waitForSelector(`${REAR.rider}[aria-invalid=true]`);
expect(/Look at:.*rear with rider pressed: .*56\.5 mm/s.test(await page.textContent("#result")), `a fault is not told: ${await page.textContent("#result")}`);
await page.fill(REAR.rider, "22.2 in");
await page.waitForSelector(`${REAR.rider}:not([aria-invalid])`);
await page.fill(field("found", "rear", "travel_used"), "2000");
await page.fill("#pace_note", "written before it was refused");
await page.click("text=Save as found");
expect(/Nothing was saved\./.test(await page.textContent("main")), "a travel of 2000 mm is saved");
const fault = await page.textContent("#found_rear_travel_used-fault");
expect(/2000 mm.*1,?000 mm/.test(fault), `the fault does not tell value, unit and limit: ${fault}`);
expect(await page.inputValue("#pace_note") === "written before it was refused" && await page.inputValue(REAR.rider) === "22.2 in", "what was written is lost");
await axe(page, "a visit with a fault");
await picture(page, folder, "machine-fault-laptop-light");

// A new visit: saved as found, then as left, each a revision; its history tells both, and what was changed.
await page.goto(`${TERN}?visit=new`);
expect(await page.inputValue(field("found", "rear", "adjuster_4")) === "5", "a new visit does not begin with the settings of the last");
expect(await page.inputValue(REAR.alone) === "", "a new visit begins with readings nobody took");
await page.fill("#distance", "13000");
await page.selectOption("#riding", { label: "hard, on the road" });
await page.fill("#pace_note", "faster than ever");
for (const [name, pressed, lifted] of [["extended", "600", "600"], ["alone", "589", "591"], ["with_rider", "564", "566"]]) {
  await page.fill(field("found", "rear", `${name}_pressed`), pressed);
  await page.fill(field("found", "rear", `${name}_lifted`), lifted);
}
await page.click("text=Save as found");
await page.waitForURL(/\/machines\/tern\?setup=[0-9a-f-]{36}&saved=found$/);
const made = new URL(page.url()).searchParams.get("setup");
expect(/Saved as found, revision 1\./.test(await page.textContent("main")), "it is not told that it is saved");
expect(await page.inputValue(REAR.alone) === "589" && await page.inputValue("#distance") === "13000", "what was saved is not what was typed");
await page.fill(field("left", "rear", "preload"), "9");
await page.selectOption("#work_remedy", { label: "set from outside" });
await page.selectOption("#work_end", { label: "rear" });
await page.fill("#work_text", "preload backed off");
await page.click("text=Save as left");
await page.waitForURL(new RegExp(`setup=${made}&saved=left$`));
const saved = await page.textContent("main");
expect(/Saved as left, revision 2\./.test(saved) && /rear: set from outside, preload backed off/.test(saved), "the visit as left is not saved");
expect(await page.inputValue(field("left", "rear", "adjuster_4")) === "5", "a setting that was left alone is not as it was found");
expect(await page.locator("text=Revisions of this visit").count() === 1, "the revisions are not told");
await page.check(`input[type=checkbox][value="${made}"]`);
await page.click("text=Compare the chosen");
const changed = await page.locator("section[aria-labelledby=h-history]").textContent();
expect(/rear preload/.test(changed) && /3 mm less/.test(changed), `what was changed is not told: ${changed.slice(0, 400)}`);
await page.goto(`${TERN}?setup=tern-5&compare=tern-5&compare=tern-0`);
expect(/9 clicks further closed/.test(await page.textContent("main")), "two visits are not compared");

// Somebody else saves the same visit in between: told, and nothing typed is lost.
const other = await watched(desk, base);
await page.goto(`${TERN}?setup=${made}`);
await other.goto(`${TERN}?setup=${made}`);
await other.fill("#notes", "theirs");
await other.click("text=Save as found");
await other.waitForURL(/saved=found/);
await page.fill("#notes", "ours");
await page.click("text=Save as left");
expect(/Somebody else has changed this visit/.test(await page.textContent("main")), "a stale change is taken");
expect(await page.inputValue("#notes") === "ours", "what was written is lost to somebody else's change");
await other.goto(`${TERN}?setup=${made}`);
expect(await other.inputValue("#notes") === "theirs", "theirs is gone");
await page.click("text=Save as left");
await page.waitForURL(/saved=left/);
expect(await page.inputValue("#notes") === "ours", "the second try is not saved");
await other.close();

// Values are read off the shares by keys; the forecast follows what it is asked.
await page.goto(TERN);
await page.focus("figure.plot:has(#rear-shares-title)");
await page.keyboard.press("End");
await page.keyboard.press("ArrowUp");
const share = await page.textContent("figure.plot:has(#rear-shares-title) output");
expect(/^ridden \d+ km, left \d+ %, (rebound|compression)$/.test(share), `the share reads "${share}"`);
expect((await page.textContent("figure.plot:has(#rear-shares-title) svg")).includes("rebound, trend"), "the trend of the rear's rebound is not drawn");
expect(!(await page.textContent("figure.plot:has(#front-shares-title) svg")).includes("trend"), "a trend is drawn where there is none");
const limits = () => page.locator("section[aria-labelledby=h-ahead] tbody tr").allTextContents();
const easy = await limits();
await page.fill("#braking_now", "0.9");
await page.click("text=Look ahead");
expect(page.url().includes("braking_now=0.9") && (await limits()).join() !== easy.join(), "harder braking changes no limit");
expect(await page.locator("figure.staircase svg").count() === 1, "no staircase is drawn");
await page.goto(`${base}/machines/often`);
const visits = () => page.locator("section[aria-labelledby=h-history] tbody tr").count();
expect(await visits() === 15, `${await visits()} visits are shown at once`);
await page.click("text=Older visits");
await page.click("text=Older visits");
expect(await visits() === 10, `the oldest visits shown are ${await visits()}`);
await page.goto(`${base}/machines/bare`);
expect(/Nothing is entered of this end/.test(await page.textContent("main")), "a bare machine is not told as one");

// The job sheet, to look at and for paper; what comes next stands on it once somebody said how the machine is ridden.
await page.goto(`${TERN}${LAST}`);
const sheet = await page.getAttribute("a.button:has-text('Job sheet'):not(:has-text('PDF'))", "href");
const html = await page.request.get(base + sheet);
expect(html.status() === 200 && html.headers()["content-type"].startsWith("text/html"), `the sheet is answered with ${html.status()}`);
expect((await html.text()).includes(RIDER) && !/unsafe/.test(html.headers()["content-security-policy"]), "the sheet is not the rider's, or is open to scripts");
expect(!(await html.text()).includes("Cost against pace"), "the sheet tells a forecast of riding nobody stated");
const told = await page.request.get(`${base}${sheet}?braking_now=0.7&cornering_now=0.6`);
expect((await told.text()).includes("Cost against pace"), "the sheet tells no forecast");
const pdf = await page.request.get(`${base}${sheet}.pdf`);
expect(pdf.status() === 200 && pdf.headers()["content-type"] === "application/pdf", `the PDF is answered with ${pdf.status()}`);
expect((await pdf.body()).subarray(0, 5).toString() === "%PDF-", "the PDF is none");
await page.goto(base + sheet);
expect(await page.evaluate(() => getComputedStyle(document.querySelector("h1")).fontWeight !== "" && document.styleSheets.length === 1), "the sheet has no style");
await picture(page, folder, "machine-sheet-laptop-light");
for (const path of ["/machines/nobody", "/machines/bare?setup=tern-0", "/machines/tern/sheet/spoilt-6", "/machines/tern?setup=tern-0@99"]) {
  const missing = await page.request.get(base + path);
  expect(missing.status() === 404, `${path} is answered with ${missing.status()}`);
}

// Hostile words are letters.
await page.goto(`${base}/machines/spoilt`);
const shown = await page.evaluate(() => document.body.textContent + [...document.querySelectorAll("input, textarea")].map((one) => one.value));
expect(shown.split(HOSTILE).length > 6, "hostile words are not shown as they are");
const letters = await page.request.get(`${base}/machines/spoilt/sheet/spoilt-6`);
expect(letters.status() === 200 && !(await letters.text()).includes("<img src=x"), "the sheet runs what was entered");

// On a phone the judgement's first line stays in sight while readings are typed.
{
  const { context, page } = await open({ viewport: SIZES.phone });
  await page.goto(TERN);
  for (const what of ["pressed", "lifted"]) await page.fill(field("found", "rear", `alone_${what}`), "600");
  await page.waitForFunction(() => document.querySelector("#said").textContent.startsWith("Hazard"));
  const seen = await page.evaluate(() => {
    const [said, typed] = ["#said", "#found_rear_alone_lifted"].map((one) => document.querySelector(one).getBoundingClientRect());
    return said.top >= 0 && said.bottom <= innerHeight && typed.bottom <= said.top;
  });
  expect(seen, "on a phone the judgement is out of sight, or in the way");
  await page.screenshot({ path: join(folder, "machine-typing-phone-light.png") });
  await context.close();
}

// Another site's page sends a form here: the real browser says whose it is.
{
  const context = await browser.newContext();
  for (const act of ["found", "left", "judged", "judgement"]) {
    const stranger = await context.newPage();
    await stranger.goto(`data:text/html,<form method=post action=${TERN}/${act}><input name=setup value=></form>`);
    const [answer] = await Promise.all([
      stranger.waitForResponse(`${TERN}/${act}`),
      stranger.evaluate(() => document.forms[0].submit()),
    ]);
    expect(answer.status() === 403, `${act} from another site is answered with ${answer.status()}`);
  }
  await context.close();
}
await desk.close();

// Every control is reached by Tab, with its focus shown.
{
  const { context, page } = await open();
  await page.goto(TERN);
  await tabbed(page, "the machine", 12);
  await context.close();
}

// Without script: judged by a button, saved, nothing lost.
{
  const { context, page } = await open({ javaScriptEnabled: false, viewport: SIZES.phone });
  for (const [name, path] of Object.entries(VIEWS)) {
    await page.goto(base + path);
    expect((await page.locator("main").innerText()).length > 20, `${name} is empty without script`);
  }
  await page.goto(`${TERN}${LAST}`);
  for (const what of ["pressed", "lifted"]) await page.fill(field("found", "rear", `alone_${what}`), "600");
  await page.click("button:text-is('Judge')");
  expect(/^Hazard\./.test(await page.textContent("#said")) && await page.inputValue(REAR.alone) === "600", "nothing is judged without script");
  expect(page.url() === `${TERN}/judged`, `the judgement is at ${page.url()}`);
  await page.click("button[value=inch]");
  expect(page.url() === `${TERN}${LAST}`, `after choosing units the view is ${page.url()}`);
  await page.click("button[value=metric]");
  await page.fill("#notes", "written without script");
  await page.click("text=Save as found");
  expect(await page.inputValue("#notes") === "written without script" && /Saved as found, revision 2/.test(await page.textContent("main")), "nothing is saved without script");
  await context.close();
}

await browser.close();
finish("machines are judged, kept and followed");
