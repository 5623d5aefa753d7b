//! The past of computed values: the same as that of a reading with the same numbers, added to once for what came together, kept over a change of the
//! layout and over a restart, and forgotten when something else is computed.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;
use proptest::prelude::*;
use sidelight::feed::{Delivery, Message};
use sidelight::layout::Program;
use sidelight::readings::history::{Figure, Stored, encode};
use sidelight::readings::{Moment, State};
use sidelight::service::{Pane, compile};

fn program(text: &str) -> Arc<Program> {
    let loaded = compile(text.as_bytes(), Path::new("test.layout"));
    loaded.program.clone().unwrap_or_else(|| panic!("{}", loaded.report(false)))
}

fn at(seconds: u64) -> Moment {
    Moment::at(Duration::from_secs(seconds))
}

/// The civil time so many seconds after the tests' clock began: twenty minutes before midnight.
fn time(seconds: u64) -> ZonedDateTime {
    "2026-11-25T23:40:00[UTC]".parse::<ZonedDateTime>().unwrap() + Duration::from_secs(seconds)
}

fn since_1970(seconds: u64) -> Duration {
    time(seconds).timestamp().as_duration().try_into().unwrap()
}

fn message(payload: &str) -> Message {
    Message {
        topic: "cellar/ripening/climate".into(),
        payload: payload.into(),
        retained: false,
        delivery: Delivery::AtMostOnce,
    }
}

fn hear(pane: &mut Pane, payload: &str, seconds: u64) {
    pane.accept(&message(payload), at(seconds));
    pane.update(at(seconds), &time(seconds));
}

fn said(pane: &Pane) -> Vec<(String, State)> {
    pane.words().into_iter().map(|said| (said.content, said.state)).collect()
}

const READINGS: &str = "panel 128x64\n\
    reading temp from: \"cellar/ripening/climate\" pick: column(1) unit: °C range: -10..40 stale: 5min\n\
    reading rh from: \"cellar/ripening/climate\" pick: column(2) unit: % range: 0..100 stale: 5min\n";

/// Everything that looks back, at what is called `name`.
fn looking_back_at(name: &str) -> String {
    format!(
        "{READINGS}value same = temp\nvalue wet = rh > 90\n\
         screen door {{\n\
           text \"{{lowest({name}, 1h):.1}} {{highest({name}, 1h):.1}} {{mean({name}, today):.1}}\" size: 7\n\
           text \"{{change({name}, 1h):.1}} {{slope({name}, 1h):.1}} {{count({name}, 1h):.0}}\" size: 7\n\
           text \"{{same:.1}} {{if wet then \"wet\" else \"dry\"}}\" size: 7\n\
           trend {name} for: 1h over: 0..20 height: 20\n\
         }}\n"
    )
}

proptest! {
    #[test]
    fn a_value_that_is_a_reading_has_its_past(
        steps in prop::collection::vec((0u64..700, prop_oneof![4 => (0u32..200).prop_map(|tenths| f64::from(tenths) / 10.0), 1 => Just(99.0)]), 1..60),
    ) {
        let mut of_reading = Pane::new(program(&looking_back_at("temp")), at(0));
        let mut of_value = Pane::new(program(&looking_back_at("same")), at(0));
        let mut second = 0;
        for (wait, number) in steps {
            for (elapsed, is_heard) in [(wait / 2, false), (wait, false), (wait, true)] {
                for pane in [&mut of_reading, &mut of_value] {
                    if is_heard {
                        pane.accept(&message(&format!("{number:.1},91")), at(second + elapsed));
                    }
                    pane.update(at(second + elapsed), &time(second + elapsed));
                }
                prop_assert_eq!(said(&of_value), said(&of_reading));
                prop_assert_eq!(of_value.frame(), of_reading.frame());
                prop_assert_eq!(of_value.next_change(), of_reading.next_change());
            }
            second += wait;
        }
    }
}

/// The highest difference so far, how far below it the difference is now, and the past of that.
const NESTED: &str = "value dew = dew_point(temp, rh)\n\
    value spread = temp - dew\n\
    value below = highest(spread, 1h) - spread range: -20..30\n\
    screen door { text \"{lowest(below, 1h):+.2} {highest(below, 1h):.2} {count(below, 1h):.0}\" size: 9 }\n";

#[test]
fn a_past_of_a_past_is_never_ahead_of_it() {
    let mut pane = Pane::new(program(&format!("{READINGS}{NESTED}")), at(0));
    for (step, payload) in ["12.0,90", "12.0,80", "12.0,70", "12.0,95", "18.0,70"].iter().enumerate() {
        hear(&mut pane, payload, 60 * step as u64);
    }
    // Three times a new greatest difference; were it looked at with the one before, this would be less than nothing.
    let [(text, state)] = &said(&pane)[..] else { panic!("{:?}", said(&pane)) };
    let words: Vec<&str> = text.split(' ').collect();
    assert_eq!((words[0], words[2], *state), ("+0.00", "5", State::Live), "{text}");
    // At 12 °C, 95 % and 70 % leave dew points of 11.2 and 6.7 °C.
    assert!((4.4..4.7).contains(&words[1].parse::<f64>().unwrap()), "{text}");
}

#[test]
fn what_comes_together_is_one_number_and_what_cannot_be_believed_is_none() {
    let layout = format!(
        "{READINGS}value spread = temp - dew_point(temp, rh)\n\
         screen door {{ text \"{{count(spread, 1h):.0}} {{highest(spread, 1h):.1}}\" size: 9 }}\n"
    );
    let mut pane = Pane::new(program(&layout), at(0));
    // Both readings change; between them lies no difference of the one as it is and the other as it was.
    hear(&mut pane, "12.0,90", 0);
    hear(&mut pane, "20.0,99", 60);
    assert_eq!(said(&pane)[0].0, "2 1.6");
    // A number that cannot be leaves the value without one.
    hear(&mut pane, "20.0,err", 120);
    assert_eq!(said(&pane)[0], ("2 1.6".into(), State::Stale));
    // What the broker had kept is no news.
    let kept = Message { retained: true, ..message("5.0,10") };
    pane.accept(&kept, at(180));
    pane.update(at(180), &time(180));
    assert_eq!(said(&pane)[0].0, "2 1.6");
    hear(&mut pane, "20.0,99", 240);
    assert_eq!(said(&pane)[0], ("3 1.6".into(), State::Live));
}

/// A picture has room for what was proved to fit, and for nothing else.
#[test]
fn what_can_no_longer_be_is_no_past() {
    let of_reading = format!(
        "{READINGS}value wet = rh > 90\nscreen door {{ text \"{{highest(temp, 1h):.1}} {{if wet then \"!\" else \".\"}}\" size: 9 }}\n"
    );
    let of_value = format!("{READINGS}{LOOKING_BACK}").replace("count(spread, 1h):.0", "highest(spread, 1h):.1");
    for (layout, wide, narrow, heard) in [
        (&of_reading, "-10..40", ["-10..12.4", "12.0..40", "-10..12.3", "12.1..40"], "12.4"),
        (&of_value, "0..30", ["0..1.6", "1.5..30", "0..1.5", "1.6..30"], "1.6"),
    ] {
        for (place, range) in narrow.iter().enumerate() {
            let mut pane = Pane::new(program(layout), at(0));
            hear(&mut pane, "12.0,90", 10);
            hear(&mut pane, "12.4,90", 20);
            assert!(said(&pane)[0].0.starts_with(heard), "{:?}", said(&pane));
            let stored = Stored::decode(&encode(pane.windows(), at(30), since_1970(30)).0).unwrap();
            let next = program(&layout.replacen(&format!("range: {wide}"), &format!("range: {range}"), 1));
            assert_eq!(Pane::new(Arc::clone(&next), at(0)).recall(&stored, at(0), &time(60)), usize::from(place < 2));
            pane.swap(next, at(30));
            pane.update(at(30), &time(30));
            assert_eq!(said(&pane)[0].0.starts_with(heard), place < 2, "{range}: {:?}", said(&pane));
        }
    }
}

const LOOKING_BACK: &str = "value dew = dew_point(temp, rh)\n\
    value spread = temp - dew range: 0..30\n\
    screen door { text \"{count(spread, 1h):.0}\" size: 9 }\n";

#[test]
fn it_goes_on_in_a_layout_that_computes_the_same() {
    let layout = format!("{READINGS}{LOOKING_BACK}");
    let moved = layout.replace(
        "reading temp",
        "reading door from: \"cellar/ripening/door\" range: 0..1\nvalue shut = door == 0\nreading temp",
    );
    let moved =
        moved.replace("size: 9 }", "size: 12 when: shut }").replace("dew", "point").replace("point_point", "dew_point");
    let another = layout.replace("temp - dew", "dew - temp").replace("0..30", "-30..0");
    let behind = layout.replace("dew_point(temp, rh)", "frost_point(temp, rh)");
    let elsewhere = layout.replace("column(2)", "column(3)");
    for (next, goes_on) in [(&layout, true), (&moved, true), (&another, false), (&behind, false), (&elsewhere, false)] {
        let mut pane = Pane::new(program(&layout), at(0));
        hear(&mut pane, "12.0,90", 10);
        hear(&mut pane, "12.4,90", 20);
        let next = program(next);
        let stored = Stored::decode(&encode(pane.windows(), at(30), since_1970(30)).0).unwrap();
        let mut restarted = Pane::new(Arc::clone(&next), at(0));
        assert_eq!(restarted.recall(&stored, at(0), &time(60)), usize::from(goes_on), "{:?}", next.histories);
        pane.swap(next, at(30));
        pane.update(at(30), &time(30));
        let count = pane.windows().next().map(|(_, history)| history.figure(Figure::Count));
        assert_eq!(count.flatten(), Some(if goes_on { 2.0 } else { 0.0 }));
    }
}
