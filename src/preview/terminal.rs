//! The preview in a terminal: the panel in half blocks, the readings and the findings below it, and keys for what the page has controls for.
//!
//! What enters are the news of a [`Live`] desk and keys; what leaves are pictures and lines. However it ends, the terminal is as it was
//! before.

use std::io::{self, Stdout, Write};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode, size};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;

use super::control::{range, step, tidy, words};
use super::desk::{Change, Desk, Seen};
use super::live::Live;
use crate::language::report;
use crate::layout::value_in_words;
use crate::readings::{Moment, State};
use crate::service::{LEAVE, Terminal};

/// How fast "play" goes.
const PACE: Duration = Duration::from_millis(500);
/// Keys that wait to be looked at.
const AHEAD: usize = 64;
/// Lines above and below the glass, and the glass's own two edges.
const EDGES: usize = 2;
/// The last line.
const KEYS: &str = "tab, up, down: reading   left, right: value (shift: ten steps)   s: state   n: screen   p: play   b: back to the broker   q: end";

/// What a key asks for.
#[derive(Debug, PartialEq)]
enum Act {
    Select(usize),
    Change(Change),
    Play,
    Quit,
}

/// The terminal in raw mode; dropping it ends that.
struct Raw;

impl Raw {
    fn enter() -> io::Result<Self> {
        enable_raw_mode()?;
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            // On the alternate screen nobody would ever read it.
            let _ = io::stdout().write_all(LEAVE.as_bytes());
            let _ = disable_raw_mode();
            usual(panic);
        }));
        Ok(Self)
    }
}

impl Drop for Raw {
    fn drop(&mut self) {
        // A terminal that is gone needs nothing back.
        let _ = disable_raw_mode();
    }
}

/// Shows a desk in the terminal until a key or a signal ends it.
///
/// # Errors
/// The terminal's, if it cannot be read from or written to.
pub async fn show(mut live: Live) -> io::Result<()> {
    let mut ends = [signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?, signal(SignalKind::hangup())?];
    let [terminate, interrupt, hang_up] = &mut ends;
    let _raw = Raw::enter()?;
    let mut terminal = Terminal::enter(io::stdout())?;
    let mut keys = listen();
    let mut selected = 0;
    draw(&mut terminal, &live, selected)?;
    loop {
        let event = tokio::select! {
            _ = live.next() => None,
            event = keys.recv() => match event {
                Some(event) => Some(event?),
                None => return Ok(()),
            },
            _ = terminate.recv() => return Ok(()),
            _ = interrupt.recv() => return Ok(()),
            _ = hang_up.recv() => return Ok(()),
        };
        selected = selected.min(live.desk().controls().len().saturating_sub(1));
        if let Some(Event::Key(key)) = event
            && key.kind != KeyEventKind::Release
        {
            match act(live.desk(), live.now(), selected, key) {
                Some(Act::Select(place)) => selected = place,
                Some(Act::Change(change)) => {
                    // What the layout does not know any more, nobody can choose.
                    let _ = live.change(&change);
                }
                Some(Act::Play) => live.play((!live.is_playing()).then_some(PACE)),
                Some(Act::Quit) => return Ok(()),
                None => {}
            }
        }
        draw(&mut terminal, &live, selected)?;
    }
}

/// Keys and changes of size, from a thread that waits for them.
fn listen() -> mpsc::Receiver<io::Result<Event>> {
    let (tell, heard) = mpsc::channel(AHEAD);
    std::thread::spawn(move || {
        loop {
            let event = event::read();
            let failed = event.is_err();
            if tell.blocking_send(event).is_err() || failed {
                return;
            }
        }
    });
    heard
}

/// What a key asks for, if anything.
fn act(desk: &Desk, now: Moment, selected: usize, key: KeyEvent) -> Option<Act> {
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return (key.code == KeyCode::Char('c')).then_some(Act::Quit);
    }
    let count = desk.controls().len();
    let steps = if key.modifiers.contains(KeyModifiers::SHIFT) { 10.0 } else { 1.0 };
    let move_by = |steps: f64| moved(desk, now, selected, steps).map(Act::Change);
    match key.code {
        KeyCode::Char('q') | KeyCode::Esc => Some(Act::Quit),
        KeyCode::Char('p') => Some(Act::Play),
        KeyCode::Tab | KeyCode::Down if count > 0 => Some(Act::Select((selected + 1) % count)),
        KeyCode::BackTab | KeyCode::Up if count > 0 => Some(Act::Select((selected + count - 1) % count)),
        KeyCode::Right => move_by(steps),
        KeyCode::Left => move_by(-steps),
        KeyCode::PageUp => move_by(10.0),
        KeyCode::PageDown => move_by(-10.0),
        KeyCode::Char('s') => {
            let state = desk.seen(now).get(selected)?.value.state;
            let place = State::ALL.iter().position(|other| *other == state)?;
            let next = State::ALL[(place + 1) % State::ALL.len()];
            Some(Act::Change(Change::State { reading: name(desk, selected)?, to: next.word().into() }))
        }
        KeyCode::Char('b') => Some(Act::Change(Change::Release { reading: name(desk, selected)? })),
        KeyCode::Char('n') => {
            let screens = &desk.good()?.program.screens;
            let place = desk.screen().and_then(|name| screens.iter().position(|screen| screen.name == name));
            let next = place.map_or(0, |place| place + 1);
            Some(Act::Change(Change::Screen(screens.get(next).map(|screen| screen.name.clone()))))
        }
        _ => None,
    }
}

fn name(desk: &Desk, place: usize) -> Option<String> {
    desk.good()?.program.readings.get(place).map(|spec| spec.name.clone())
}

/// A reading's next number, so many steps on, within its range; its next word where it has words.
fn moved(desk: &Desk, now: Moment, place: usize, steps: f64) -> Option<Change> {
    let spec = desk.good()?.program.readings.get(place)?;
    let seen = desk.seen(now).get(place)?.value;
    let number = if seen.is_known() { seen.number } else { desk.controls().get(place)?.number };
    let words = words(spec);
    let to = if words.is_empty() {
        let (low, high) = range(spec);
        tidy(number + steps * step(spec), step(spec)).clamp(low, high)
    } else {
        let here = words.iter().position(|(_, other)| *other == number).unwrap_or(0);
        let next = if steps > 0.0 { here + 1 } else { here + words.len() - 1 };
        words[next % words.len()].1
    };
    Some(Change::Number { reading: spec.name.clone(), to })
}

fn draw(terminal: &mut Terminal<Stdout>, live: &Live, selected: usize) -> io::Result<()> {
    let rows = size().map_or(24, |(_, rows)| usize::from(rows));
    let glass = live.desk().drawn().map(|drawn| drawn.frame().clone());
    let taken = glass.as_ref().map_or(0, |glass| glass.pages() as usize * 4 + EDGES);
    let lines = lines(live.desk(), live.now(), selected, live.is_playing(), live.broker());
    // The last row stays free, or the terminal would scroll.
    terminal.tell(fit(lines, rows.saturating_sub(taken + 1)))?;
    glass.map_or(Ok(()), |glass| terminal.show(&glass))
}

/// As many lines as there is room for; the last one stays.
fn fit(mut lines: Vec<String>, room: usize) -> Vec<String> {
    if lines.len() > room && room >= 2 {
        let foot = lines.pop();
        let over = lines.len() + 2 - room;
        lines.truncate(room - 2);
        lines.push(format!("… {over} more lines: make the terminal taller"));
        lines.extend(foot);
    }
    lines.truncate(room);
    lines
}

/// What stands below the glass.
fn lines(desk: &Desk, now: Moment, selected: usize, playing: bool, broker: Option<&str>) -> Vec<String> {
    let loaded = desk.loaded();
    let mut lines = vec![heading(desk, playing)];
    lines.extend(broker.map(str::to_string));
    if let Some(good) = desk.good() {
        for (place, (spec, seen)) in good.program.readings.iter().zip(desk.seen(now)).enumerate() {
            let mark = if place == selected { '>' } else { ' ' };
            let value =
                if seen.value.is_known() { value_in_words(spec, seen.value.number) } else { "no number".into() };
            let held = if desk.is_fed() && seen.held { ", set here" } else { "" };
            lines.push(format!("{mark} {:12} {value:>12}  {}{}{held}", spec.name, seen.value.state.word(), age(&seen)));
        }
    }
    if let Some(why) = desk.unread() {
        lines.push(why.to_string());
    }
    let report = report::to_text(&loaded.name, &loaded.text, &loaded.findings, false);
    lines.extend(report.lines().map(str::to_string));
    lines.push(KEYS.to_string());
    lines
}

fn heading(desk: &Desk, playing: bool) -> String {
    let loaded = desk.loaded();
    let state = match (desk.is_current(), desk.good().is_some(), loaded.findings.is_empty()) {
        (true, _, true) => "clean",
        (true, _, false) => "shown, with findings",
        (false, true, _) => "MISTAKES: this is the last good picture",
        (false, false, _) => "MISTAKES: there is no picture yet",
    };
    let screen = match (desk.drawn().and_then(|drawn| drawn.screen()), desk.screen()) {
        (Some(shown), None) => format!(", screen {shown}"),
        (Some(shown), Some(_)) => format!(", screen {shown} (chosen)"),
        (None, _) => String::new(),
    };
    let (last, whole) = desk.cost();
    let bus = if whole.bytes > 0 { format!(", {} bytes for the last change", last.bytes) } else { String::new() };
    format!("{}: {state}{screen}{bus}{}", loaded.name, if playing { ", playing" } else { "" })
}

fn age(seen: &Seen) -> String {
    match seen.age {
        Some(age) if age.as_secs() > 0 => format!(", {} s old", age.as_secs()),
        Some(_) => String::new(),
        None if seen.value.state == State::Stale => ", of unknown age".into(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use jiff::civil::DateTime;

    use super::super::desk::Source;
    use super::*;
    use crate::language::clock;
    use crate::service::compile;

    const LAYOUT: &str = "panel 128x32\n\
        reading temp from: \"cellar/ripening/climate\" unit: °C range: -10..40\n\
        reading door from: \"cellar/ripening/door\" pick: words(open: 1, closed: 0) stale: never\n\
        screen usual { text \"{temp:.1}\" size: 9 }\n\
        screen open when: door == 1 { text \"open\" size: 9 }\n";

    fn desk() -> Desk {
        let mut desk =
            Desk::new(compile(LAYOUT.as_bytes(), Path::new("door.layout")), Source::Controls, Moment::default());
        update(&mut desk);
        desk
    }

    fn update(desk: &mut Desk) {
        desk.update(Moment::default(), &clock::greenwich(DateTime::constant(2026, 11, 25, 12, 0, 0, 0)));
    }

    fn press(desk: &mut Desk, selected: usize, code: KeyCode, modifiers: KeyModifiers) -> Option<Act> {
        let asked = act(desk, Moment::default(), selected, KeyEvent::new(code, modifiers));
        if let Some(Act::Change(change)) = &asked {
            desk.change(change, Moment::default()).unwrap();
            update(desk);
        }
        asked
    }

    #[test]
    fn keys_step_through_readings_values_states_and_screens() {
        let plain = KeyModifiers::NONE;
        let mut desk = desk();
        assert_eq!(press(&mut desk, 0, KeyCode::Tab, plain), Some(Act::Select(1)));
        assert_eq!(press(&mut desk, 1, KeyCode::Tab, plain), Some(Act::Select(0)));
        assert_eq!(press(&mut desk, 0, KeyCode::BackTab, KeyModifiers::SHIFT), Some(Act::Select(1)));
        press(&mut desk, 0, KeyCode::Right, plain);
        press(&mut desk, 0, KeyCode::Right, KeyModifiers::SHIFT);
        assert_eq!(desk.controls()[0].number, 16.1);
        press(&mut desk, 0, KeyCode::Left, plain);
        assert_eq!(desk.controls()[0].number, 16.0);
        for wanted in ["stale", "waiting", "faulty", "live"] {
            press(&mut desk, 0, KeyCode::Char('s'), plain);
            assert_eq!(desk.seen(Moment::default())[0].value.state.word(), wanted);
        }
        assert_eq!(desk.drawn().unwrap().screen(), Some("usual"));
        press(&mut desk, 1, KeyCode::Right, plain);
        assert_eq!(desk.drawn().unwrap().screen(), Some("open"));
        let screens: Vec<Option<String>> = (0..3)
            .map(|_| {
                press(&mut desk, 0, KeyCode::Char('n'), plain);
                desk.screen().map(str::to_string)
            })
            .collect();
        assert_eq!(screens, [Some("usual".into()), Some("open".into()), None]);
        assert_eq!(press(&mut desk, 0, KeyCode::Char('c'), KeyModifiers::CONTROL), Some(Act::Quit));
        assert_eq!(press(&mut desk, 0, KeyCode::Char('s'), KeyModifiers::CONTROL), None);
    }

    #[test]
    fn values_stop_at_the_ends_of_their_range() {
        let mut desk = desk();
        for _ in 0..100 {
            press(&mut desk, 0, KeyCode::PageUp, KeyModifiers::NONE);
        }
        assert_eq!(desk.controls()[0].number, 40.0);
    }

    #[test]
    fn findings_stand_below_the_readings_and_a_broken_file_is_said() {
        let mut desk = desk();
        let shown = lines(&desk, Moment::default(), 1, false, None);
        assert!(shown[0].starts_with("door.layout: clean, screen usual"), "{shown:?}");
        assert!(shown[2].starts_with("> door") && shown[2].contains("closed  live"), "{shown:?}");
        let broken = LAYOUT.replace("{temp:.1}", "{tmp:.1}");
        desk.reload(compile(broken.as_bytes(), Path::new("door.layout")), Moment::default());
        update(&mut desk);
        let shown = lines(&desk, Moment::default(), 0, false, None);
        assert!(shown[0].contains("MISTAKES: this is the last good picture"), "{shown:?}");
        assert!(shown.iter().any(|line| line.contains("error[unknown name]")), "{shown:?}");
    }

    #[test]
    fn what_has_no_room_is_left_out_and_said() {
        let lines: Vec<String> = (0..10).map(|number| number.to_string()).collect();
        assert_eq!(fit(lines.clone(), 12), lines);
        assert_eq!(fit(lines.clone(), 4), ["0", "1", "… 7 more lines: make the terminal taller", "9"]);
        assert_eq!(fit(lines, 1), ["0"]);
    }
}
