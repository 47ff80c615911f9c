//! The bench as a page, and its pieces as they are replaced while it is watched. Each piece has an id; what is in it is
//! made here alone, for the first sight and for every change.

use maud::{Markup, html};
use wire::v1;
use wire::v1::instruction::Action;

use super::super::form::request_id;
use super::super::words::{Origin, entered, origin};
use super::beside::Last;
use super::scene::Scene;
use super::words::{self, figure, symbol};

/// Everything within the frame.
pub(super) fn whole(scene: &Scene, tester: &str, testers: &[String]) -> Markup {
    let live = super::with_tester("/live", tester);
    let here = super::with_tester("/", tester);
    let text = |id: &str| {
        texts(scene)
            .into_iter()
            .find(|(known, _)| *known == id)
            .map(|(_, text)| text)
    };
    html! {
        div #bench.bench data-live=(live) {
            div.now {
                h1 { "Bench" @if !scene.shown.tester.is_empty() { small { bdi { (scene.shown.tester) } } } }
                @if testers.len() > 1 { (choice(testers, &scene.shown.tester)) }
                p #state.state role="status" { (text("state").unwrap_or_default()) }
                p #line.warning role="status" {}
                p #problem.warning role="alert" {}
                div #do { (actions(scene)) }
                p #answer role="status" { (text("answer").unwrap_or_default()) }
                p data-without-script="" { a.button href=(here) { "Look again" } " Without script this page stands still until then." }
            }
            dl.big {
                (big("rate", &text("rate-name").unwrap_or_default(), text("rate"), symbol::<v1::Stiffness>(scene.units)))
                (big("load", "Load", text("load"), symbol::<v1::Force>(scene.units)))
                (big("deflection", "Deflection", text("deflection"), symbol::<v1::Length>(scene.units)))
            }
            div.drawn {
                figure.plot {
                    figcaption #caption { (text("caption").unwrap_or_default()) }
                    div #plot { (scene.curve.plot().growing(scene.curve.reach())) }
                    output.reading aria-live="polite" {}
                }
                p #kept.hint { (text("kept").unwrap_or_default()) }
            }
            div.beside {
                section aria-labelledby="last-title" {
                    h2 #last-title { "Last test" }
                    p #verdict.judged role="status" { (text("verdict").unwrap_or_default()) }
                    div #last { (last(scene)) }
                }
                section aria-labelledby="spring-title" {
                    h2 #spring-title { "Spring on the tester" }
                    div #spring { (spring(scene)) }
                }
            }
        }
    }
}

/// A figure to be read from two metres.
fn big(id: &str, name: &str, text: Option<String>, unit: &str) -> Markup {
    html! {
        div {
            dt { span id={ (id) "-name" } { (name) } " " (origin(if id == "rate" { Origin::Computed } else { Origin::Measured })) }
            dd { span id=(id) { (text.unwrap_or_default()) } span.unit { " " (unit) } }
        }
    }
}

fn choice(testers: &[String], at: &str) -> Markup {
    html! {
        nav.testers aria-label="Testers" {
            @for tester in testers {
                a.button href=(super::with_tester("/", tester)) aria-current=[(tester == at).then_some("true")] {
                    bdi { @if tester.is_empty() { "unnamed" } @else { (tester) } }
                }
            }
        }
    }
}

/// What changes without anything being replaced: texts by the id of what holds them.
pub(super) fn texts(scene: &Scene) -> Vec<(&'static str, String)> {
    let (shown, units) = (&scene.shown, scene.units);
    // At rest there is no reading: the last test's would look like one.
    let reading = shown.reading.as_ref().filter(|_| !scene.rests());
    let caption = match (scene.of_last, scene.rests()) {
        (true, _) => "The curve of the last test",
        (false, true) => "The curve will be drawn here",
        (false, false) => "The curve as it is pressed",
    };
    let of_last = scene
        .beside
        .last
        .as_ref()
        .filter(|_| scene.of_last)
        .and_then(Last::rate);
    let rate = words::rate(shown).filter(|_| reading.is_some()).or(of_last);
    vec![
        ("state", words::state(shown).to_owned()),
        ("answer", words::answer(shown)),
        (
            "rate-name",
            if scene.of_last { "Rate of the last test" } else { "Rate" }.to_owned(),
        ),
        ("rate", figure(rate.as_ref(), units)),
        ("load", figure(reading.and_then(|reading| reading.load.as_ref()), units)),
        (
            "deflection",
            figure(reading.and_then(|reading| reading.deflection.as_ref()), units),
        ),
        ("caption", caption.to_owned()),
        (
            "kept",
            if scene.rests() {
                String::new()
            } else {
                words::kept(shown)
            },
        ),
        (
            "verdict",
            scene.beside.last.as_ref().map_or(String::new(), Last::verdict),
        ),
    ]
}

/// A form with one button.
struct Press<'a> {
    scene: &'a Scene,
    to: &'a str,
    /// Fields besides the tester and the request id.
    fields: &'a [(&'a str, &'a str)],
    id: &'a str,
    words: &'a str,
    main: bool,
}

impl Press<'_> {
    fn button(&self) -> Markup {
        html! {
            form.inline method="post" action=(self.to) {
                (request_id())
                (tester(self.scene))
                @for (name, value) in self.fields { input type="hidden" name=(name) value=(value); }
                button id=(self.id) class=[self.main.then_some("main")] { (self.words) }
            }
        }
    }
}

fn tester(scene: &Scene) -> Markup {
    html! { input type="hidden" name="tester" value=(scene.shown.tester); }
}

/// What can be done now: buttons for an instrument that obeys, words for the person where it does not.
pub(super) fn actions(scene: &Scene) -> Markup {
    let shown = &scene.shown;
    let run = shown.run.as_str();
    let obeys = |action: Action| shown.obeys.contains(&(action as i32));
    let tell = |action: &'static str, words: &'static str, main: bool| {
        Press {
            scene,
            to: "/bench/instruct",
            fields: &[("run", run), ("tell", action)],
            id: action,
            words,
            main,
        }
        .button()
    };
    let change = |to: &'static str, id: &'static str, words: &'static str, main: bool| {
        Press {
            scene,
            to,
            fields: &[("run", run)],
            id,
            words,
            main,
        }
        .button()
    };
    let state = shown.state();
    let at = shown.instrument();
    html! {
        @if run.is_empty() {
            p { "Connect one: " code { "springwright feed --stay --connect HOST:PORT" } "." }
        } @else if state == v1::RunState::Interrupted {
            p { "The same feed command goes on with this run. Or end it here:" }
            @if !words::is_empty(shown) { (change("/bench/finish", "finish", "Keep what there is", true)) }
            (change("/bench/discard", "discard", "Discard", false))
        } @else if state == v1::RunState::Recording && at == v1::InstrumentState::Waiting {
            @if obeys(Action::TareMark) { (tell("tare", "Tare", false)) }
            (tell("start", "Start", true))
            @if obeys(Action::TareMark) && shown.tare_mark.is_none() {
                p.hint { "Tare with the spring off the cell. Keep hands clear of the platens before the start." }
            } @else {
                p.hint { "Keep hands clear of the platens before the start." }
            }
        } @else if state == v1::RunState::Recording {
            @let stopped = at == v1::InstrumentState::Stopped;
            @if obeys(Action::Finish) { (tell("finish", if stopped { "Keep" } else { "Finish" }, true)) }
            @if obeys(Action::Stop) && !stopped { (tell("stop", "Stop", false)) }
            @if stopped || !obeys(Action::Stop) { (change("/bench/discard", "discard", "Discard", false)) }
            @if !obeys(Action::Finish) { p.hint { "This instrument cannot be told: end the test at the tester." } }
            @if !obeys(Action::TareMark) && !stopped { p.hint { "Zero and start are set at the tester by hand." } }
        } @else {
            p.hint { "The next test shows here when its feed opens it." }
        }
    }
}

/// The last test: what it says at length is its own page; here is what is done with it.
pub(super) fn last(scene: &Scene) -> Markup {
    let Some(last) = &scene.beside.last else {
        return html! { p.hint { "No test has been finished here yet." } };
    };
    let run = last.run.name.as_str();
    let kept = last.spring.as_ref().is_some_and(|spring| spring.tested_run == run);
    let spring = last.run.spring.as_str();
    let press = |to: &str, fields: &[(&str, &str)], id: &str, words: &str, main: bool| {
        Press {
            scene,
            to,
            fields,
            id,
            words,
            main,
        }
        .button()
    };
    // Repeating changes two things: each has an id of its own.
    let second = uuid::Uuid::new_v4().to_string();
    let again = [
        ("run", scene.shown.run.as_str()),
        ("spring", spring),
        ("assign_id", second.as_str()),
    ];
    html! {
        @if let Ok(reply) = &*last.said {
            @for finding in reply.findings.iter().filter(|finding| !finding.caution.is_empty()).take(2) {
                p.hint { strong { "Caution: " } (finding.caution) }
            }
        }
        p {
            @match &last.spring {
                Some(spring) => { "Spring: " a href={ "/" (spring.name) } { bdi { (name(spring)) } } ". " }
                None => "No spring is named for it. ",
            }
            a href={ "/" (run) } { "The run" } ", "
            a href={ "/" (run) "/report" } { "the report" } "."
        }
        @if kept { p { strong { "Kept" } ": this is the spring's measured rate." } }
        @else if last.spring.is_some() && last.said.is_ok() {
            (press("/bench/keep", &[("run", run), ("spring", spring)], "keep", "Keep as the spring's rate", true))
        }
        @if scene.waits() { (press("/bench/repeat", &again, "repeat", "Repeat with this spring", false)) }
        (press("/bench/discard", &[("run", run)], "discard-last", "Discard", false))
        (assign(scene, run, spring, "last", "Change"))
    }
}

/// Which spring is on the tester, and the ways to say so.
pub(super) fn spring(scene: &Scene) -> Markup {
    let run = scene.shown.run.as_str();
    let open = matches!(scene.shown.state(), v1::RunState::Recording | v1::RunState::Interrupted);
    html! {
        @match &scene.beside.spring {
            Some(spring) => {
                p.on-tester {
                    a href={ "/" (spring.name) } { bdi { (name(spring)) } }
                    @if let Some(marked) = entered(spring.marked_rate.as_ref()) { ", marked " (marked) " " (origin(Origin::Entered)) }
                }
            }
            None => { p.on-tester { "Not named yet." } }
        }
        @if open && !run.is_empty() {
            (assign(scene, run, &scene.shown.spring, "now", "Put on"))
            details #new-spring {
                summary { "A spring that is not on the rack yet" }
                form method="post" action="/bench/name" {
                    (request_id())
                    input type="hidden" name="assign_id" value=(uuid::Uuid::new_v4());
                    (tester(scene))
                    input type="hidden" name="run" value=(run);
                    div.field { label for="label" { "What it is called" } input #label name="label" required maxlength="200" autocomplete="off"; }
                    div.field {
                        label for="marking" { "What is marked on it" }
                        input #marking name="marking" maxlength="100" autocomplete="off" placeholder="9.5 N/mm" aria-describedby="marking-hint";
                        p #marking-hint.hint { "A number with its unit, or the bare mark as it stands. May be left out." }
                    }
                    button #name-it { "Put on the rack and on the tester" }
                }
            }
        }
    }
}

/// Says which spring a run is of; afterwards too.
fn assign(scene: &Scene, run: &str, at: &str, id: &str, words: &str) -> Markup {
    html! {
        form.assign method="post" action="/bench/assign" {
            (request_id())
            (tester(scene))
            input type="hidden" name="run" value=(run);
            label for={ "spring-" (id) } { @if id == "now" { "From the rack" } @else { "Spring of this test" } }
            select id={ "spring-" (id) } name="spring" {
                option value="" selected[at.is_empty()] { "none" }
                @for spring in &scene.beside.rack {
                    option value=(spring.name) selected[spring.name == at] { (name(spring)) }
                }
            }
            button id={ "assign-" (id) } { (words) }
        }
    }
}

/// What a spring is called; without a label its name has to do.
fn name(spring: &v1::Spring) -> &str {
    if spring.label.is_empty() {
        &spring.name
    } else {
        &spring.label
    }
}
