//! What a picture is taken of: each reading's number and state, and its past.
//!
//! What enters are numbers, states and the time; what leaves is a renderer that has drawn them. No message is decoded here.

use std::sync::Arc;
use std::time::Duration;

use jiff::ZonedDateTime;

use crate::formulas::Evaluated;
use crate::readings::{Moment, State};

use super::{Program, Renderer};

/// All readings of a program as a picture is to show them.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Each reading's number and state.
    pub readings: Vec<Evaluated>,
    /// Each reading's numbers before, evenly spread over its longest window, oldest first, `None` for a silence.
    pub past: Vec<Vec<Option<f64>>>,
    /// How long ago each reading's number was heard. `None` leaves it to the state: a live one is new, and of all others nobody knows.
    pub heard: Vec<Option<Duration>>,
    /// How long the program has been shown, which decides whose turn it is.
    pub running: Duration,
    /// Whether the broker is connected.
    pub linked: bool,
}

impl Scene {
    /// When the picture is taken: late enough for every window to lie before it.
    pub const NOW: Moment = Moment::at(Duration::from_secs(40 * 24 * 3600));

    /// Nothing was heard yet.
    pub fn waiting(program: &Program) -> Self {
        let count = program.readings.len();
        Self {
            readings: vec![Evaluated::WAITING; count],
            past: vec![Vec::new(); count],
            heard: vec![None; count],
            running: Duration::ZERO,
            linked: true,
        }
    }

    /// The picture at a civil time.
    pub fn draw(&self, program: &Arc<Program>, time: &ZonedDateTime) -> Renderer {
        let before = |ago| Moment::at(Self::NOW.since(Moment::at(ago)));
        let mut renderer = Renderer::new(Arc::clone(program), before(self.running));
        renderer.set_time(Self::NOW, time.clone());
        renderer.set_link(self.linked);
        let ago = |index: usize| {
            let is_live = self.readings[index].state == State::Live;
            self.heard[index].or(is_live.then_some(Duration::ZERO))
        };
        let past = self.past.iter().enumerate();
        let past: Vec<_> =
            past.map(|(index, past)| (past.as_slice(), before(ago(index).unwrap_or_default()))).collect();
        self.readings.iter().enumerate().for_each(|(index, value)| renderer.set(index, *value));
        renderer.remember(&past);
        for (index, value) in self.readings.iter().enumerate() {
            renderer.set(index, *value);
            if let Some(ago) = ago(index).filter(|_| value.is_known()) {
                renderer.hear(index, value.number, before(ago));
            }
        }
        renderer.draw(Self::NOW);
        renderer
    }
}
