//! A layout that comes from the broker: the part of a turn in which it is looked at, shown, kept and answered.

use std::path::Path;

use super::Service;
use crate::digest::digest;
use crate::feed::Event;
use crate::language::MAX_BYTES;
use crate::readings::Moment;
use crate::service::door::{Arrival, Door};
use crate::service::files::{self, Durability};
use crate::service::witness::{Happening, Witness};
use crate::service::{read_start, replace};

/// What a layout file may be used for, of which the process's mask takes some away.
const MODE: u32 = 0o666;

impl Service {
    /// The same service, whose layout may come from the broker. It must have one layout only, and that in a file.
    pub fn taking(mut self, door: Door) -> Self {
        if let Some(path) = self.running.first().and_then(|running| running.show.source.path()) {
            files::sweep(path);
        }
        self.door = Some(door);
        self.filters = self.wanted();
        self.session = self.session.hearing(self.filters.clone());
        self
    }

    /// Takes in what an event brings for the door.
    pub(super) fn knock(&mut self, event: &Event) {
        let Some(door) = &mut self.door else { return };
        match event {
            Event::Message(message) => door.hear(message),
            Event::Oversized { topic, bytes } => door.hear_oversized(topic, *bytes),
            _ => {}
        }
    }

    /// Looks at what came for the door, if it is time to, and answers what was not answered yet.
    pub(super) async fn tend_door(&mut self, witness: &mut dyn Witness) {
        let now = self.clock.now();
        if let Some(arrival) = self.door.as_mut().and_then(|door| door.due(now)) {
            self.open_to(&arrival, now, witness);
            self.subscribe_anew(now, witness).await;
        }
        self.answer_door();
    }

    /// Shows and keeps what came, if it is good.
    fn open_to(&mut self, arrival: &Arrival, now: Moment, witness: &mut dyn Witness) {
        let (Some(door), Some(running)) = (&mut self.door, self.running.first_mut()) else { return };
        let Some(path) = running.show.source.path().map(ToOwned::to_owned) else { return };
        match arrival {
            Arrival::Payload(payload) if digest(payload) == running.show.digest => {
                // What is shown is good, whatever the file holds.
                running.show.text = String::from_utf8_lossy(payload).into_owned();
                running.show.is_broken = false;
                door.conclude(arrival, None);
            }
            _ => {
                let judged = door.judge(arrival, &path, running.pane.program().size);
                let is_new = door.conclude(arrival, judged.as_ref().err());
                match judged {
                    Ok((layout, program)) => {
                        running.swap(&layout, program, now);
                        witness.see(now, Happening::Taken { layout: &layout });
                    }
                    Err(refusal) => {
                        if is_new {
                            let topic = &door.topics().layout;
                            witness.see(now, Happening::Refused { topic, refusal: &refusal });
                        }
                        return;
                    }
                }
            }
        }
        // On the glass first: a disk may take its time.
        self.update(now, witness);
        self.keep_layout(&path, now, witness);
    }

    /// Has the file hold what is shown, so that a restart shows it too. What is there already is not written again.
    fn keep_layout(&mut self, path: &Path, now: Moment, witness: &mut dyn Witness) {
        let (Some(door), Some(running)) = (&mut self.door, self.running.first()) else { return };
        let show = &running.show;
        let is_there = read_start(path, MAX_BYTES).is_ok_and(|bytes| bytes == show.text.as_bytes());
        let written = if is_there { Ok(()) } else { replace(path, show.text.as_bytes(), MODE, Durability::Synced) };
        door.keeps(&show.digest, written.is_ok());
        if let Err(problem) = written {
            witness.see(now, Happening::Unkept { file: path, problem: &problem });
        }
    }

    /// Answers what is another than what was answered last, once there is a connection.
    fn answer_door(&mut self) {
        let (Some(door), Some(running)) = (&mut self.door, self.running.first()) else { return };
        let (shows, size) = (&running.show.digest, running.pane.program().size);
        if !self.reports.link.connected {
            return;
        }
        let Some(answer) = door.answer(shows, size) else { return };
        // Without a connection, or room in it, the next turn tries again.
        if self.session.publish(&door.topics().answer, answer.document(), true).is_ok() {
            door.answered(shows);
        }
    }
}
