//! What the verbs that draw a layout are given: numbers, states, ages, a past, a time and a screen.
//!
//! What enters are arguments; what leaves is the picture that they ask for. What they mean is said in `scenes/setting.rs`: the lines of
//! a file of scenes are the same, without the hyphens.

use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::tz::TimeZone;

use crate::layout::{Program, Renderer};
use crate::scenes::{Setting, Word, stage};

use super::Failure;

/// What the readings, the clock and the choice of screens are taken to be.
#[derive(Debug, clap::Args)]
pub(super) struct Given {
    /// Give a reading a number
    #[arg(long, value_name = "NAME=NUMBER")]
    set: Vec<String>,
    /// Put a reading into a state: live, stale, waiting or faulty
    #[arg(long, value_name = "NAME=STATE")]
    state: Vec<String>,
    /// Give a reading a past: numbers evenly spread over its longest window, oldest first; an empty one is a silence
    #[arg(long, value_name = "NAME=NUMBER,NUMBER,…")]
    past: Vec<String>,
    /// How long ago a reading's number was heard, as 3min
    #[arg(long, value_name = "NAME=TIME")]
    age: Vec<String>,
    /// The date and time that clocks show, as 2026-11-25T14:05, of another zone as 2026-11-25T14:05[Europe/Paris] or
    /// 2026-11-25T14:05+01:00; now where it is not given
    #[arg(long, value_name = "DATE-TIME")]
    time: Option<String>,
    /// Whether the broker is connected: up or down
    #[arg(long, value_name = "STATE")]
    link: Option<String>,
    /// Show this screen, whatever the conditions say
    #[arg(long, value_name = "NAME")]
    screen: Option<String>,
}

impl Given {
    /// The picture of a program with all that is given.
    pub(super) fn draw(&self, program: &Arc<Program>) -> Result<Renderer, Failure> {
        let settings = self.settings();
        let staged = stage(program, &settings, &TimeZone::system(), "--").map_err(|wrong| {
            // One at a time, as with every mistake on the command line.
            Failure::Argument(wrong.first().map_or(String::new(), |(place, finding)| {
                let (word, text) = settings[*place];
                let help = finding.help.as_deref().unwrap_or_default();
                format!("--{} {text}: {}; {help}", word.name(), finding.message)
            }))
        })?;
        Ok(staged.scene.draw(&staged.program, &staged.time.unwrap_or_else(ZonedDateTime::now)))
    }

    fn settings(&self) -> Vec<Setting<'_>> {
        let lists =
            [(Word::Set, &self.set), (Word::State, &self.state), (Word::Past, &self.past), (Word::Age, &self.age)];
        let mut settings: Vec<Setting<'_>> =
            lists.iter().flat_map(|(word, texts)| texts.iter().map(|text| (*word, text.as_str()))).collect();
        settings.extend(self.time.as_deref().map(|time| (Word::Time, time)));
        settings.extend(self.link.as_deref().map(|link| (Word::Link, link)));
        settings.extend(self.screen.as_deref().map(|name| (Word::Screen, name)));
        settings
    }
}
