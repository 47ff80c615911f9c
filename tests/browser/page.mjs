// The views that stand still, in a real browser: page.mjs URL FOLDER
//
// The server holds the springs "left", "right" and "dual", with finished runs left-1, left-2, right-1, dual-1 and an
// interrupted one, open-1. Pictures at phone, laptop and wall size go into FOLDER.

import { SIZES, axe, expect, finish, fits, launch, picture, tabbed, watched } from "./browser.mjs";

const [base, folder] = process.argv.slice(2);
const COMBINED = "/combine?arrangement=line&rate1=40&rate1_unit=N%2Fmm&stop1=9&stop1_unit=mm&spring2=springs%2Fleft"
  + "&preload=10&preload_unit=mm&travel=80&travel_unit=mm&air_gap=130&air_gap_unit=mm&seal=48&seal_unit=mm&bore=44&bore_unit=mm";
const VIEWS = {
  bench: "/", rack: "/rack", new: "/rack/new", runs: "/runs", spring: "/springs/left", edit: "/springs/left/edit",
  run: "/runs/left-2", open: "/runs/open-1", compare: "/compare?run=left-2&run=right-1", report: "/runs/left-2/report",
  shape: "/runs/dual-1", combine: COMBINED, combining: "/combine", missing: "/springs/nobody", valving: "/valving", machines: "/machines",
};
const WEIGHT = 100_000;
const HOSTILE = [
  `<script>window.hit=1</script>"'><img src=x onerror=window.hit=1>`,
  "\u202Egnirps \u05E7\u05E4\u05D9\u05E5 \u0646\u0627\u0628\u0636 &amp; <b>",
  "W".repeat(200),
];

const browser = await launch();
const open = async (options = {}) => {
  const context = await browser.newContext({ viewport: SIZES.laptop, ...options });
  return { context, page: await watched(context, base) };
};

// Nobody is hindered: axe in light and dark, one way to scroll at every size, and pictures for whoever wants to look.
for (const colorScheme of ["light", "dark"]) {
  for (const [size, viewport] of Object.entries(SIZES)) {
    if (colorScheme === "dark" && size === "wall") continue;
    const { context, page } = await open({ viewport, colorScheme });
    for (const [name, path] of Object.entries(VIEWS)) {
      await page.goto(base + path);
      await fits(page, `${name} at ${size} size`);
      // The wall's layout is the laptop's, larger; the phone's differs from both.
      if (size === "laptop" || (size === "phone" && colorScheme === "light")) await axe(page, `${name}, ${colorScheme}, ${size}`);
      if (colorScheme === "light" || size === "phone") await picture(page, folder, `${name}-${size}-${colorScheme}`);
    }
    await context.close();
  }
}

// What a view weighs with all it loads, before anything is in the browser's store; and what may run in it.
const paints = [];
for (const [name, path] of Object.entries(VIEWS)) {
  const { context, page } = await open();
  const bodies = [];
  page.on("response", (response) => bodies.push(response.body().catch(() => "")));
  const response = await page.goto(base + path, { waitUntil: "load" });
  const weight = (await Promise.all(bodies)).reduce((sum, body) => sum + body.length, 0);
  expect(weight > 0 && weight < WEIGHT, `${name} weighs ${weight} bytes`);
  const policy = response.headers()["content-security-policy"] ?? "";
  expect(policy.includes("default-src 'none'") && !/unsafe|\*/.test(policy), `${name} has the policy ${policy}`);
  expect(response.headers()["x-content-type-options"] === "nosniff", `${name} can be taken for something else`);
  expect(await page.locator("[style], script:not([src])").count() === 0, `${name} has script or style within`);
  paints.push(await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0));
  await context.close();
}
{
  const { context, page } = await open();
  await page.goto(`${base}/rack`);
  const style = await page.getAttribute("link[rel=stylesheet]", "href");
  const kept = await page.request.get(base + style);
  expect(kept.headers()["cache-control"].includes("immutable"), "the style is loaded again and again");
  const other = await page.request.get(base + style.replace(/[0-9a-f]{16}/, "0".repeat(16)));
  expect(other.status() === 404, "the style of another version is sent for good");
  await context.close();
}
console.log(`first paint after ${paints.map((paint) => paint.toFixed(0)).join(", ")} ms`);

// A script that gets in does not run. Chromium says so aloud, so this page is not watched.
{
  const context = await browser.newContext();
  const page = await context.newPage();
  await page.goto(`${base}/rack`);
  const ran = await page.evaluate(() => {
    const script = document.createElement("script");
    script.textContent = "window.ran = true";
    document.body.append(script);
    return Boolean(window.ran);
  });
  expect(!ran, "a script within the page runs");
  await context.close();
}

// Another site's page sends a form here: the real browser says whose it is.
{
  const context = await browser.newContext();
  const page = await context.newPage();
  await page.goto(`data:text/html,<form method=post action=${base}/units><input name=units value=inch></form>`);
  const [answer] = await Promise.all([
    page.waitForResponse(`${base}/units`),
    page.evaluate(() => document.forms[0].submit()),
  ]);
  expect(answer.status() === 403, `a form of another site is answered with ${answer.status()}`);
  await context.close();
}

// Every control is reached by Tab, in sight and with its focus shown.
const { context: desk, page } = await open();
for (const [name, path] of Object.entries(VIEWS)) {
  // The bench draws its pieces anew while somebody goes through them; live.mjs works it by keys.
  if (name === "bench") continue;
  await page.goto(base + path);
  await tabbed(page, name);
}

// Values are read off the curve by keys and by pointer.
await page.goto(`${base}/runs/left-2`);
await page.focus("figure.plot");
const reading = () => page.textContent("figure.plot output");
const VALUE = /^deflection -?\d+\.\d\d mm, load -?\d+\.\d N, (pressing|returning)$/;
await page.keyboard.press("ArrowRight");
const first = await reading();
await page.keyboard.press("PageUp");
const later = await reading();
expect(VALUE.test(first) && VALUE.test(later) && first !== later, `keys read "${first}", then "${later}"`);
await page.keyboard.press("ArrowDown");
expect((await reading()).endsWith("returning"), `the other branch reads "${await reading()}"`);
await page.keyboard.press("End");
await page.hover("figure.plot svg");
expect(VALUE.test(await reading()), `the pointer reads "${await reading()}"`);

// What the page says of the run: marked, measured, uncertainty, difference; both branches; window, contact.
const said = await page.textContent("main");
expect(/10 N\/mm marked, measured 9\.\d+ ± 0\.\d+ N\/mm: \d\.\d % soft/.test(said), `the verdict is missing: ${said.slice(0, 300)}`);
expect(/Refused/.test(said), "the decision is missing");
const lines = (nth = 0) => page.locator("figure.plot").nth(nth).locator("polyline");
expect(await lines().count() === 2, "there are not two branches");
for (const mark of ["window", "contact", "pressing", "returning", "deflection in mm", "load in N"]) {
  expect((await page.textContent("figure.plot svg")).includes(mark), `the curve has no "${mark}"`);
}

// The rack tells marked and measured rate, the last test, and what changed since the one before.
await page.goto(`${base}/rack`);
const left = await page.locator("tr", { has: page.locator('a[href="/springs/left"]') }).textContent();
expect(/10\.00 N\/mm entered/.test(left) && /9\.\d+ ± 0\.\d+ N\/mm measured/.test(left), `the rack says ${left}`);
expect(/\d\.\d % softer, ± \d\.\d % computed/.test(left), `no drift on the rack: ${left}`);

// A pair of springs is compared by one way from either.
await page.goto(`${base}/springs/left`);
await page.click("text=compare their curves");
expect(page.url().endsWith("/compare?run=left-2&run=right-1"), `the pair is compared at ${page.url()}`);

// Two runs are chosen and laid over one another.
await page.goto(`${base}/runs`);
await page.check('input[value="left-2"]');
await page.check('input[value="right-1"]');
await page.click("text=Compare the chosen two");
const pair = await page.textContent("main");
expect(/B is \d\.\d\d ± \d\.\d\d % (stiffer|softer) than A/.test(pair), "no difference is told");
expect(/Not matched: /.test(pair) && /no more than 2\.0 %: under 0\.1 %/.test(pair), `the pair is not judged: ${pair.slice(0, 300)}`);
expect(await lines().count() === 4, "there are not four branches");
const dashes = await lines().evaluateAll((lines) => lines.map((line) => line.getAttribute("stroke-dasharray")));
expect(new Set(dashes).size === 4, `branches differ by colour alone: ${dashes}`);
expect(await page.locator("#difference-line-0").count() === 1 && await page.locator("polygon.ribbon").count() === 1, "the difference has no band");
await page.focus("figure.plot:has(#difference-line-0)");
await page.keyboard.press("End");
const off = await page.textContent("figure.plot:has(#difference-line-0) output");
expect(/^deflection from contact \d+\.\d+ mm, difference -?\d+\.\d\d %, B less A$/.test(off), `keys read "${off}" off the difference`);
await page.fill("#limit", "10");
await page.click("text=Judge again");
expect(/Matched: /.test(await page.textContent("main")), "a wide limit matches nothing");
expect(await page.inputValue("#limit") === "10", "the limit is forgotten");
await page.goto(`${base}/compare?run=left-2&run=right-1&limit=much`);
expect(/is no limit/.test(await page.textContent("main")), "a limit that is none is taken");

// A dual-rate spring: its shape with a probability, its parts and its knee with their uncertainty, its rate over the travel.
await page.goto(`${base}/runs/dual-1`);
const dual = await page.textContent("main");
expect(/Dual-rate: two straight parts/.test(dual) && /Probability among the shapes compared: over 99\.9 %/.test(dual), "the shape is not told");
expect(/8\.0\d+ ± 0\.\d+ N\/mm/.test(dual) && /12\.0\d* ± 0\.\d+ N\/mm/.test(dual), "the parts have no rates");
expect(/(49\.\d+|50\.\d+) ± 0\.\d+ mm/.test(dual), "the knee has no uncertainty");
expect(await page.locator("#rates-line-0").count() === 1, "the rate over the travel is not drawn");
expect(await page.locator("path.about").count() >= 2, "the knee's uncertainty is not on both plots");

// Springs together: drawn from the address, drawn anew while somebody types, faults at their fields.
await page.goto(base + COMBINED);
const together = await page.textContent("#result");
for (const part of ["Rate at first", "Force of the preload", "air alone", "Energy taken up", "rated compressor"]) {
  expect(together.includes(part), `springs together do not say "${part}"`);
}
expect(/part\.1\.1 at \d+\.\d+ mm|part\.1 at \d+\.\d+ mm/.test(together) || !/What closes/.test(together), `what closes is not told: ${together}`);
const before = await page.getAttribute("#force-line-0", "data-points");
await page.fill("#preload", "0");
await page.waitForFunction((points) => document.querySelector("#force-line-0")?.dataset.points !== points, before);
expect(page.url().includes("preload=0"), "what was typed is not in the address");
await page.hover("figure.plot svg");
expect(/^travel \d/.test(await page.textContent("#result figure.plot output")), "a curve drawn anew cannot be read");
await page.fill("#rate1", "9,5");
await page.waitForSelector("#rate1[aria-invalid=true]");
expect(/Look at:.*9\.5/.test(await page.textContent("#result")), `a fault is not told: ${await page.textContent("#result")}`);
await page.fill("#rate1", "40");
await page.waitForSelector("#force-line-0");

await page.goto(`${base}/compare?run=left-2`);
expect(/choose two runs/.test(await page.textContent("main")), "one run is compared with nothing");

// Inch, kept from view to view, and back.
await page.goto(`${base}/runs/left-2`);
await page.click("button[value=inch]");
expect(page.url() === `${base}/runs/left-2`, `the choice of units leads to ${page.url()}`);
await page.goto(`${base}/runs/left-1`);
const inches = await page.textContent("main");
expect(/\d\d\.\d ± 0\.\d+ lbf\/in/.test(inches) && /deflection in in/.test(inches), "inches are not kept");
await page.click("button[value=metric]");
expect(/N\/mm/.test(await page.textContent("dl.large")), "no way back from inches");

// A new spring by keys alone, with a fault on the way: nothing that was written is lost.
await page.goto(`${base}/rack/new`);
await page.keyboard.press("Tab");
expect(await page.evaluate(() => document.activeElement.className) === "skip", "the first stop does not skip the frame");
await page.keyboard.press("Enter");
await page.keyboard.press("Tab");
await page.keyboard.type("by keys");
await page.keyboard.press("Tab");
await page.keyboard.press("Tab");
await page.keyboard.type("9,5");
await page.keyboard.press("Enter");
await page.waitForSelector("[role=alert]");
expect(await page.inputValue("#label") === "by keys", "what was written is lost");
expect(await page.getAttribute("#marked_rate", "aria-invalid") === "true", "the fault is not at its field");
await axe(page, "a form with a fault");
await picture(page, folder, "fault-laptop-light");
await page.focus("#marked_rate");
await page.keyboard.press("Control+A");
await page.keyboard.type("9.5");
await page.keyboard.press("Enter");
await page.waitForURL(/\/springs\/[^/]+$/);
expect(/9\.50 N\/mm/.test(await page.textContent("dl.large")), "the new spring has no rate");

// Somebody else changes a spring in between: the second save is refused, not merged.
await page.goto(`${base}/springs/right/edit`);
const other = await watched(desk, base);
await other.goto(`${base}/springs/right/edit`);
await other.fill("#rack_place", "drawer 3");
await other.click("button.main");
await other.waitForURL(`${base}/springs/right`);
await page.fill("#rack_place", "drawer 4");
await page.click("button.main");
expect(/Changed by somebody else/.test(await page.textContent("main")), "a stale change is taken");
await page.goto(`${base}/springs/right`);
expect(/drawer 3/.test(await page.textContent("main")), "the first change is gone");

// Hostile names are letters wherever they show, and nothing sticks out.
const { context: pocket, page: phone } = await open({ viewport: SIZES.phone });
for (const [index, label] of HOSTILE.entries()) {
  await phone.goto(`${base}/rack/new`);
  await phone.fill("#label", label);
  await phone.fill("#notes", label);
  await phone.fill("#rack_place", label);
  await phone.click("button.main");
  await phone.waitForURL(/\/springs\/[^/]+$/);
  const spring = new URL(phone.url()).pathname;
  await phone.goto(`${base}/runs/left-1`);
  await phone.selectOption("#spring", spring.slice(1));
  await phone.fill("#notes", label);
  await phone.click("text=Save");
  for (const path of [spring, `${spring}/edit`, "/rack", "/runs", "/runs/left-1", "/runs/left-1/report",
    "/compare?run=left-1&run=left-2", `/rack?label=${encodeURIComponent(label)}`]) {
    await phone.goto(base + path);
    expect(await phone.evaluate(() => window.hit === undefined), `${path} runs what a label says`);
    await fits(phone, `${path} with hostile label ${index}`);
    const shown = await phone.evaluate(() => document.body.textContent + [...document.querySelectorAll("input, textarea")].map((one) => one.value));
    expect(shown.includes(label), `${path} does not show hostile label ${index} as it is`);
  }
  await picture(phone, folder, `hostile-${index}-phone`);
}
await pocket.close();

// A run is assigned anew, taken as the spring's rate, deleted and brought back; an interrupted one is finished.
await page.goto(`${base}/runs/left-1`);
await page.selectOption("#spring", "springs/left");
await page.click("text=Save");
expect(/left/.test(await page.textContent("h1")), "the run is not assigned");
await page.click("text=Take this as the spring's measured rate");
await page.waitForURL(`${base}/springs/left`);
expect(/the spring's measured rate/.test(await page.textContent("main")), "the run is not the spring's");
await page.goto(`${base}/runs/right-1`);
await page.click("summary:has-text('Delete it')");
await page.click("text=Delete the run");
expect(/was deleted/.test(await page.textContent("main")), "the run is not deleted");
await page.click("text=Bring it back");
expect(!/was deleted/.test(await page.textContent("main")), "the run is not back");
await page.goto(`${base}/runs/open-1`);
expect(/interrupted/.test(await page.textContent("main")), "the run is not interrupted");
await page.click("text=Finish as it is");
expect(/finished/.test(await page.textContent("main")), "the run is not finished");
await desk.close();

// The valving bench: drawn and told, recalculated while somebody types, each fault at its field.
{
  const { context, page } = await open();
  await page.goto(`${base}/valving`);
  const text = await page.textContent("main");
  for (const words of ["Half section. Radii to scale, heights", "Rule of thumb", "Where the oil goes", "discharge its gas", "stiffer"]) {
    expect(text.includes(words), `the valving bench does not say "${words}"`);
  }
  const lifts = () => page.textContent("#said");
  const before = await lifts();
  expect(/^At 0\.500 MPa the edge of the face shim lifts 0\.\d+ mm/.test(before), `the headline is ${before}`);
  await page.fill("#shims", "30x0.15*4, 26x0.15 mm");
  await page.waitForFunction((was) => document.querySelector("#said").textContent !== was, before);
  expect(new URL(page.url()).searchParams.get("shims") === "30x0.15*4, 26x0.15 mm", "what is typed is not in the address");
  await page.focus("figure.plot:has(#force-title)");
  await page.keyboard.press("End");
  const read = await page.textContent("figure.plot:has(#force-title) output");
  expect(/^velocity 1\.000 m\/s, force \d+\.\d N, rebound, this stack: stack \d+ %, bleed \d+ %, band \d+ % of the oil, ports \d+ % of the drop$/.test(read),
    `the force reads "${read}"`);
  await page.fill("#shims", "30x0.15*4");
  await page.waitForSelector("#shims[aria-invalid=true]");
  expect(/has no unit/.test(await page.textContent("#result")), "the fault is not told");
  await axe(page, "the valving bench with a fault");
  await page.fill("#shims", "30x0.15*4 mm");
  await page.fill("#present", "");
  await page.click("summary:has-text('Damper and oil')");
  await page.fill("#bore", "");
  await page.waitForSelector("#shims:not([aria-invalid])");
  await page.waitForFunction(() => document.querySelector("#result").textContent.includes("Without a bore"));
  // In a damper of the drawer the piston, the oil and the present stack are its own; what was written stays.
  await page.fill("#damper", "dampers/nobody");
  await page.waitForSelector("#damper[aria-invalid=true]");
  await page.fill("#damper", "dampers/leg");
  await page.fill("#shims", "30x0.15*2, 24x0.15, 18x0.15 mm");
  await page.waitForFunction(() => document.querySelector("#result").textContent.includes("In dampers/leg, <b>invented</b> leg: bore 36"));
  await page.waitForFunction(() => /% softer than the present stack/.test(document.querySelector("#said").textContent));
  expect(await page.isHidden("#bore") && await page.isHidden("#clamp") && await page.isHidden("#present") && await page.isVisible("#speed"), "fields of another damper stand beside it");
  await axe(page, "the valving bench with a damper of the drawer");
  await picture(page, folder, "valving-damper");
  await page.reload();
  expect(await page.inputValue("#damper") === "dampers/leg" && await page.isHidden("#clamp"), "the damper is lost when the view is loaded again");
  await page.fill("#shims", "");
  await page.waitForFunction(() => /the edge of the face shim lifts [^.]*\.\d+/.test(document.querySelector("#said").textContent)
    && !/present stack/.test(document.querySelector("#said").textContent));
  await page.fill("#shims", "30x0.15*4 mm");
  await page.fill("#damper", "");
  await page.waitForFunction(() => document.querySelector("#result").textContent.includes("Without a bore"));
  expect(await page.inputValue("#clamp") === "14 mm", "what was written of the piston is lost");
  await page.click("button[value=inch]");
  expect(/in over|lifts 0\.\d+ in/.test(await lifts()), `in inches the headline is ${await lifts()}`);
  expect(await page.inputValue("#shims") === "30x0.15*4 mm", "what was typed is lost with the units");
  await page.click("button[value=metric]");
  await page.goto(`${base}/valving?shims=${encodeURIComponent(HOSTILE[0])}&clamp=${encodeURIComponent(HOSTILE[1])}&pressure=1`);
  expect(await page.evaluate(() => window.hit === undefined), "the valving bench runs what was written");
  expect(await page.inputValue("#shims") === HOSTILE[0], "what was written is lost");
  await fits(page, "the valving bench with hostile text");
  const file = await page.request.get(`${base}/valving/section.svg`);
  expect(file.headers()["content-type"] === "image/svg+xml" && (await file.text()).includes("Half section"), "the section is no file");
  await context.close();
}

// Files to take away, and a report for paper.
{
  const { context, page } = await open();
  const csv = await page.request.get(`${base}/runs/left-2/samples.csv`);
  const lines = (await csv.text()).trimEnd().split("\r\n");
  expect(lines[0] === "segment,elapsed in s,deflection in mm,load in N", `the samples begin with ${lines[0]}`);
  expect(lines.length === 4_001, `there are ${lines.length} lines of samples`);
  expect(/attachment; filename="left-2.csv"/.test(csv.headers()["content-disposition"]), "the samples have no name");
  const svg = await page.request.get(`${base}/runs/left-2/curve.svg`);
  await page.goto(`${base}/rack`);
  const wrong = await page.evaluate((text) => {
    const read = new DOMParser().parseFromString(text, "image/svg+xml");
    return read.querySelector("parsererror")?.textContent ?? (read.querySelectorAll("polyline").length === 2 ? "" : "no two branches");
  }, await svg.text());
  expect(wrong === "", `the curve's file: ${wrong}`);
  await page.goto(`${base}/runs/left-2/report`);
  expect(await page.locator("script, link, img").count() === 0, "the report does not stand alone");
  const pdf = await page.pdf({ format: "A4" });
  const pages = (pdf.toString("latin1").match(/\/Type \/Page\b/g) ?? []).length;
  expect(pages >= 1 && pages <= 3, `the report takes ${pages} pages`);
  await context.close();
}

// Without script everything is readable, and forms work.
{
  const { context, page } = await open({ javaScriptEnabled: false, viewport: SIZES.phone });
  for (const [name, path] of Object.entries(VIEWS)) {
    await page.goto(base + path);
    expect((await page.locator("main").innerText()).length > 20, `${name} is empty without script`);
  }
  await page.goto(`${base}/valving`);
  await page.fill("#shims", "30x0.15*2 mm");
  await page.click("button.main");
  expect(/Half section/.test(await page.textContent("main")) && await page.inputValue("#shims") === "30x0.15*2 mm", "no valving without script");
  await page.goto(`${base}/runs/left-2`);
  const text = await page.locator("main").innerText();
  expect(/marked, measured 9\.\d+ ± 0\.\d+ N\/mm/.test(text) && /UTC/.test(text), "no verdict without script");
  expect(await page.locator("#curve-line-0, #curve-line-1").count() === 2, "no curve without script");
  await page.fill("#notes", "written without script");
  await page.click("text=Save");
  expect(await page.inputValue("#notes") === "written without script", "a form does nothing without script");
  await picture(page, folder, "run-phone-without-script");
  await context.close();
}

await browser.close();
finish("every view is readable, reachable and safe");
