//! Times on the screen: clocks of any zone, countdowns and the sun's times through changes of the clocks, and that nothing wakes up more
//! often than what is shown changes.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use sidelight::feed::{Delivery, Message};
use sidelight::formulas::Evaluated;
use sidelight::layout::{Program, Renderer};
use sidelight::readings::{Moment, State};
use sidelight::service::{Pane, compile};

fn program(text: &str) -> Arc<Program> {
    let loaded = compile(text.as_bytes(), Path::new("test.layout"));
    loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)))
}

fn at(seconds: u64) -> Moment {
    Moment::at(Duration::from_secs(seconds))
}

fn time(text: &str) -> ZonedDateTime {
    text.parse().unwrap()
}

/// What a text of this content says at a time, and how long until that may change.
fn shown(content: &str, when: &str) -> (String, Option<Duration>) {
    let mut renderer = Renderer::new(program(&format!("panel 128x32\nscreen s {{ text \"{content}\" }}\n")), at(0));
    renderer.set_time(at(0), time(when));
    renderer.draw(at(0));
    let change = renderer.next_change().map(|moment| moment.since(at(0)));
    (renderer.words()[0].content.clone(), change)
}

const HOUR: u64 = 3600;

fn seconds(seconds: u64) -> Option<Duration> {
    Some(Duration::from_secs(seconds))
}

#[test]
fn a_clock_shows_the_time_of_its_zone() {
    let noon = "2026-11-25T12:00:30[UTC]";
    assert_eq!(shown("{clock(\"%H:%M\")}", noon), ("12:00".into(), seconds(30)));
    assert_eq!(shown("{clock(\"%a %H:%M\", \"Pacific/Auckland\")}", noon), ("Thu 01:00".into(), seconds(30)));
    assert_eq!(shown("{clock(\"%H:%M\", \"Asia/Kathmandu\")}", noon).0, "17:45");
    assert_eq!(shown("{clock(\"%H:%M\", \"UTC\")}", "2026-07-01T14:00[Europe/Paris]").0, "12:00");
}

/// In Paris, clocks went from 2 to 3 on 29 March 2026, and go from 3 to 2 on 25 October 2026 (IANA time zone database).
#[test]
fn countdowns_know_when_clocks_are_changed() {
    let until = "{until(\"03:30\")}";
    assert_eq!(shown(until, "2026-03-28T00:30[Europe/Paris]").0, "3 h");
    assert_eq!(shown(until, "2026-03-29T00:30[Europe/Paris]").0, "2 h");
    assert_eq!(shown(until, "2026-10-25T00:30[Europe/Paris]").0, "4 h");
    // What there is not, is when clocks have gone on: half past two is half past three.
    assert_eq!(shown("{until(\"02:30\") as min:.0}", "2026-03-29T01:59[Europe/Paris]").0, "31");
    // What there is twice is counted down to once; then to the next day.
    assert_eq!(shown("{until(\"02:30\") as min:.0}", "2026-10-25T01:30[Europe/Paris]").0, "60");
    assert_eq!(shown("{until(\"02:30\") as h:.0}", "2026-10-25T02:31+02:00[Europe/Paris]").0, "25");
    assert_eq!(shown("{until(\"17:30\")}", "2026-11-25T17:30[UTC]"), ("0 s".into(), seconds(1)));
    assert_eq!(shown("{until(\"17:30\")}", "2026-11-25T17:29:15[UTC]"), ("45 s".into(), seconds(1)));
}

#[test]
fn a_countdown_to_a_date_ends() {
    let eve = "{until(\"2026-12-24 18:00\")}";
    assert_eq!(shown(eve, "2026-11-25T12:00[UTC]"), ("29 d".into(), seconds(6 * HOUR + 1)));
    assert_eq!(shown(eve, "2026-12-24T17:57:30[UTC]"), ("2 min".into(), seconds(31)));
    assert_eq!(shown(eve, "2026-12-24T18:00[UTC]"), ("0 s".into(), seconds(1)));
    assert_eq!(shown(eve, "2027-01-01T00:00[UTC]"), ("0 s".into(), None));
    assert_eq!(shown("{until(\"2026-12-24\")}", "2026-12-23T23:59:50[Asia/Tokyo]").0, "10 s");
    assert_eq!(shown("{until(\"2030-01-01\")}", "2026-12-23T00:00[UTC]").0, "99 d");
}

#[test]
fn the_suns_times_are_those_of_the_clock_at_that_hour() {
    let sun = "{sun_rise(48.85, 2.35)} {sun_set(48.85, 2.35)}";
    for (day, hours) in [("2026-03-29", ["01:00", "12:00"]), ("2026-10-25", ["01:00", "12:00"])] {
        let [night, noon] = hours.map(|hour| shown(sun, &format!("{day}T{hour}[Europe/Paris]")).0);
        assert_eq!(night, noon, "{day}");
    }
    // A day of 23 hours is over sooner.
    assert_eq!(shown(sun, "2026-03-29T00:00[Europe/Paris]").1, seconds(23 * HOUR));
    assert_eq!(shown(sun, "2026-10-25T00:00[Europe/Paris]").1, seconds(25 * HOUR));
}

const PAST: &str = "panel 128x32\n\
    reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40 stale: never\n";

/// A renderer of a layout that has heard one number at the start of a day.
fn heard(screens: &str) -> Renderer {
    let mut renderer = Renderer::new(program(&format!("{PAST}{screens}\n")), at(0));
    renderer.set_time(at(0), time("2026-03-29T00:00[Europe/Paris]"));
    renderer.set(0, Evaluated::new(12.0, State::Live));
    renderer.hear(0, 12.0, at(0));
    renderer.draw(at(0));
    renderer
}

#[test]
fn today_ends_at_the_midnight_of_the_place() {
    let mut renderer = heard("screen s { text \"{count(temp, today):.0}\" }");
    assert_eq!(renderer.next_change(), Some(at(23 * HOUR)));
    renderer.set_time(at(23 * HOUR), time("2026-03-30T00:00[Europe/Paris]"));
    renderer.draw(at(23 * HOUR));
    assert_eq!(renderer.words()[0].content, "0");
    assert_eq!(renderer.next_change(), Some(at(47 * HOUR)));
}

#[test]
fn what_nobody_sees_wakes_nobody() {
    let change = |screens: &str, seconds: u64| {
        let mut renderer = heard(screens);
        renderer.set_time(at(seconds), time("2026-03-29T00:00[Europe/Paris]") + Duration::from_secs(seconds));
        renderer.draw(at(seconds));
        renderer.next_change()
    };
    let shown = "screen s { text \"{temp:.1}° {age(temp)}\" }";
    assert_eq!(change(shown, 30), Some(at(31)));
    assert_eq!(change(shown, 200), Some(at(240)));
    assert_eq!(change(shown, 2 * HOUR + 1), Some(at(3 * HOUR)));
    // What is compared is looked at more closely.
    let compared = "screen s { text \"{if age(temp) > 250s then \"old\" else \"new\"} {age(temp)}\" }";
    assert_eq!(change(compared, 200), Some(at(210)));
    // On a screen that is not shown, nothing matters but what makes it take over.
    let hidden = "screen s { text \"{temp:.1}°\" }\nscreen cold when: temp < 5 { text \"{age(temp)}\" }";
    assert_eq!(change(hidden, 30), None);
    let awaited = "screen s { text \"{temp:.1}°\" }\nscreen old when: age(temp) > 250s { text \"old\" }";
    assert_eq!(change(awaited, 200), Some(at(210)));
    let behind =
        "screen s { text \"{temp:.1}°\" }\nscreen old when: time_since(age(temp) < 1min) > 250s { text \"old\" }";
    assert_eq!(change(behind, 30), Some(at(31)));
}

#[test]
fn rejected_messages_and_a_lost_broker_can_be_shown() {
    let layout = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40\n\
        screen s { text \"{temp:.1}° {rejects(temp):.0}\" }\n\
        screen lost when: not link() { text \"no broker\" }\n";
    let mut pane = Pane::new(program(layout), at(0));
    let noon = time("2026-11-25T12:00[UTC]");
    let says = |pane: &mut Pane, second| {
        pane.update(at(second), &noon);
        pane.words()[0].content.clone()
    };
    let messages = [(1, "12.5", "12.5° 0"), (2, "99", " 1"), (3, "cold", " 2"), (4, "12.4", "12.4° 2")];
    for (second, payload, wanted) in messages {
        let message = Message {
            topic: "cellar/ripening/climate".into(),
            payload: payload.into(),
            retained: false,
            delivery: Delivery::AtMostOnce,
        };
        pane.accept(&message, at(second));
        let said = says(&mut pane, second);
        assert!(said.ends_with(wanted), "{said}");
    }
    pane.set_link(false);
    assert_eq!(says(&mut pane, 5), "no broker");
    pane.set_link(true);
    assert_eq!(says(&mut pane, 6), "12.4° 2");
    pane.swap(program(&layout.replace("{temp:.1}°", "{temp:.0}°")), at(7));
    assert_eq!(says(&mut pane, 7), "12° 2");
}
