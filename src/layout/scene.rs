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
    /// Whether the broker is connected.
    pub linked: bool,
}

impl Scene {
    /// When the picture is taken: late enough for every window to lie before it.
    pub const NOW: Moment = Moment::at(Duration::from_secs(40 * 24 * 3600));

    /// Nothing was heard yet.
    pub fn waiting(program: &Program) -> Self {
        let count = program.readings.len();
        Self { readings: vec![Evaluated::WAITING; count], past: vec![Vec::new(); count], linked: true }
    }

    /// The picture at a civil time.
    pub fn draw(&self, program: &Arc<Program>, time: &ZonedDateTime) -> Renderer {
        let mut renderer = Renderer::new(Arc::clone(program), Self::NOW);
        renderer.set_time(Self::NOW, time.clone());
        renderer.set_link(self.linked);
        for (index, past) in self.past.iter().enumerate().filter(|(_, past)| !past.is_empty()) {
            renderer.remember(index, past, Self::NOW);
        }
        for (index, value) in self.readings.iter().enumerate() {
            renderer.set(index, *value);
            if value.state == State::Live {
                renderer.hear(index, value.number, Self::NOW);
            }
        }
        renderer.draw(Self::NOW);
        renderer
    }
}
