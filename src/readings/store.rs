//! All readings of a layout, and which of them a published message belongs to.
//!
//! Topics, payloads and the time enter; the readings that changed leave, by their place in the layout. What is stored is fixed when
//! the layout is loaded: no topic, payload or sender adds to it.

use std::collections::HashMap;
use std::time::Duration;

use super::{Counts, Event, Limits, Moment, Pick, Presence, Reading, State, Trust};
use crate::feed::Filter;
use crate::units::Unit;

/// A reading as a layout declares it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingSpec {
    /// The name that the layout gives it.
    pub name: String,
    /// The topics that it listens to.
    pub filter: Filter,
    /// Where its publisher says whether it is there, if it does.
    pub presence: Option<Presence>,
    /// How a payload becomes a number.
    pub pick: Pick,
    /// The lowest and the highest number that can be true, in `unit`; `None` for any.
    pub range: Option<(f64, f64)>,
    /// How old a number may be; `None` for any age.
    pub stale: Option<Duration>,
    /// How far its numbers are trusted.
    pub trust: Trust,
    /// The unit that the number is published in.
    pub unit: Unit,
}

impl ReadingSpec {
    /// What makes two readings' numbers the same numbers.
    pub fn identity(&self) -> String {
        format!(
            "{:?} {} {} scale: {:?} offset: {:?}",
            self.filter.as_str(),
            self.pick,
            self.unit,
            self.trust.scale,
            self.trust.offset
        )
    }
}

/// What a message did to one reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The reading, by its place in the layout.
    pub reading: usize,
    /// Whether its number was taken; if it was rejected, the reading's [`fault`](Reading::fault) says why.
    pub event: Event,
    /// Whether the reading's number or state is another than before.
    pub changed: bool,
}

/// All readings of a layout.
#[derive(Clone, Debug, Default)]
pub struct Store {
    specs: Vec<ReadingSpec>,
    readings: Vec<Reading>,
    /// The readings of each topic that is named in full. Only looked up, never walked through.
    exact: HashMap<Box<str>, Vec<usize>>,
    /// The readings whose filter has wildcards.
    wild: Vec<usize>,
    /// The readings of each topic of presence. Only looked up, never walked through.
    presence: HashMap<Box<str>, Vec<usize>>,
}

impl Store {
    /// The readings in the order of `specs`, all waiting.
    pub fn new(specs: Vec<ReadingSpec>) -> Self {
        let mut exact: HashMap<Box<str>, Vec<usize>> = HashMap::new();
        let mut wild = Vec::new();
        let mut presence: HashMap<Box<str>, Vec<usize>> = HashMap::new();
        for (place, spec) in specs.iter().enumerate() {
            if let Some(known) = &spec.presence {
                presence.entry(known.topic.as_str().into()).or_default().push(place);
            }
            if spec.filter.has_wildcards() {
                wild.push(place);
            } else {
                exact.entry(spec.filter.as_str().into()).or_default().push(place);
            }
        }
        let limits = |spec: &ReadingSpec| Limits { range: spec.range, stale: spec.stale, trust: spec.trust };
        let readings = specs.iter().map(|spec| Reading::new(limits(spec))).collect();
        Self { specs, readings, exact, wild, presence }
    }

    /// Gives a message to the readings that listen to its topic; `outcomes` is emptied and then tells what came of it, for each of
    /// them once. It stays empty where no reading listens.
    pub fn accept(&mut self, topic: &str, payload: &[u8], retained: bool, now: Moment, outcomes: &mut Vec<Outcome>) {
        outcomes.clear();
        let Self { specs, readings, exact, wild, presence } = self;
        let exact = exact.get(topic).map_or(&[][..], Vec::as_slice);
        let wild = wild.iter().filter(|place| specs[**place].filter.matches(topic));
        // Where a reading's own filter takes in its publisher's topic of presence, that is still no number.
        let present = presence.get(topic).map_or(&[][..], Vec::as_slice);
        let numbers = exact.iter().chain(wild).filter(|place| !present.contains(place));
        let numbers = numbers.map(|place| (*place, false));
        for (place, is_presence) in numbers.chain(present.iter().map(|place| (*place, true))) {
            let (spec, reading) = (&specs[place], &mut readings[place]);
            let before = (reading.state(now), reading.value());
            let event = if is_presence {
                if let Some(there) = spec.presence.as_ref().and_then(|known| known.read(payload)) {
                    reading.hear_presence(there);
                }
                Event::Presence
            } else {
                reading.accept(spec.pick.sample(payload), retained, now)
            };
            let changed = (reading.state(now), reading.value()) != before;
            outcomes.push(Outcome { reading: place, event, changed });
        }
    }

    /// How many readings there are.
    pub fn len(&self) -> usize {
        self.readings.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.readings.is_empty()
    }

    /// The place of the reading called `name`.
    pub fn position(&self, name: &str) -> Option<usize> {
        self.specs.iter().position(|spec| spec.name == name)
    }

    /// The reading at `place`.
    pub fn reading(&self, place: usize) -> Option<&Reading> {
        self.readings.get(place)
    }

    /// How the layout declares the reading at `place`.
    pub fn spec(&self, place: usize) -> Option<&ReadingSpec> {
        self.specs.get(place)
    }

    /// The readings with their declarations, in the order of the layout.
    pub fn iter(&self) -> impl Iterator<Item = (&ReadingSpec, &Reading)> {
        self.specs.iter().zip(&self.readings)
    }

    /// The filters to subscribe to, each once, in the order of the layout.
    pub fn filters(&self) -> Vec<&Filter> {
        let mut filters: Vec<&Filter> = Vec::new();
        for spec in &self.specs {
            for filter in [&spec.filter].into_iter().chain(spec.presence.as_ref().map(|known| &known.topic)) {
                if !filters.contains(&filter) {
                    filters.push(filter);
                }
            }
        }
        filters
    }

    /// The first moment at which any state will have changed although nothing came in; `None` if none will.
    pub fn next_change(&self, now: Moment) -> Option<Moment> {
        self.readings.iter().filter_map(|reading| reading.next_change(now)).min()
    }

    /// The places of the readings whose state is another at `now` than it was at `before`, if nothing came in since.
    pub fn changed_since(&self, before: Moment, now: Moment) -> impl Iterator<Item = usize> {
        let changed = move |reading: &Reading| reading.state(before) != reading.state(now);
        self.readings.iter().enumerate().filter(move |(_, reading)| changed(reading)).map(|(place, _)| place)
    }

    /// Puts the reading called `name` into `state`, for a picture of it (see [`Reading::set`]); whether there is one of that name.
    pub fn set(&mut self, name: &str, value: f64, state: State, now: Moment) -> bool {
        let Some(place) = self.position(name) else { return false };
        self.readings[place].set(value, state, now);
        true
    }

    /// Takes over from the store of the layout before: a reading goes on with the number, state and age of one that listened to the
    /// same topics with the same pick and calibration, under the limits of the new layout.
    pub fn carry_over(&mut self, old: &Store) {
        for (spec, reading) in self.specs.iter().zip(&mut self.readings) {
            let same = |before: &ReadingSpec| before.filter == spec.filter && before.pick == spec.pick;
            // Two readings may share topic and pick; then the one that also kept its name comes first.
            let found = old.specs.iter().position(|before| same(before) && before.name == spec.name);
            if let Some(place) = found.or_else(|| old.specs.iter().position(same)) {
                reading.carry_over(&old.readings[place], old.specs[place].presence == spec.presence);
            }
        }
    }

    /// Messages taken and refused, summed over all readings.
    pub fn counts(&self) -> Counts {
        self.readings.iter().map(Reading::counts).fold(Counts::default(), |sum, one| Counts {
            accepted: sum.accepted + one.accepted,
            undecodable: sum.undecodable + one.undecodable,
            too_long: sum.too_long + one.too_long,
            not_finite: sum.not_finite + one.not_finite,
            out_of_range: sum.out_of_range + one.out_of_range,
            jumps: sum.jumps + one.jumps,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::lookup;
    use proptest::prelude::*;

    fn spec(name: &str, filter: &str, pick: Pick, range: (f64, f64)) -> ReadingSpec {
        ReadingSpec {
            name: name.into(),
            filter: Filter::new(filter).unwrap(),
            presence: None,
            pick,
            range: Some(range),
            stale: Some(Duration::from_secs(45)),
            trust: Trust::PLAIN,
            unit: lookup("°C").unwrap(),
        }
    }

    fn cellar() -> Vec<ReadingSpec> {
        let column = |number| Pick::column(number, ',').unwrap();
        vec![
            spec("temp", "cellar/ripening/climate", column(1), (-10.0, 40.0)),
            spec("rh", "cellar/ripening/climate", column(2), (0.0, 100.0)),
            spec("brine", "cellar/brine/tank", Pick::pointer("/temperature").unwrap(), (-5.0, 30.0)),
            spec("any", "cellar/+/climate", column(1), (-10.0, 40.0)),
        ]
    }

    #[test]
    fn what_is_heard_and_how_it_is_read_makes_the_same_numbers() {
        let temp = cellar().swap_remove(0);
        let alike = ReadingSpec { name: "t".into(), range: None, stale: None, ..temp.clone() };
        assert_eq!(alike.identity(), temp.identity());
        let other_pick = Pick::column(2, ',').unwrap();
        for another in [
            ReadingSpec { filter: Filter::new("cellar/brine/climate").unwrap(), ..temp.clone() },
            ReadingSpec { pick: other_pick, ..temp.clone() },
            ReadingSpec { unit: lookup("K").unwrap(), ..temp.clone() },
            ReadingSpec { trust: Trust { offset: 0.5, ..Trust::PLAIN }, ..temp.clone() },
            ReadingSpec { trust: Trust { scale: 2.0, ..Trust::PLAIN }, ..temp.clone() },
        ] {
            assert_ne!(another.identity(), temp.identity());
        }
    }

    fn at(seconds: u64) -> Moment {
        Moment::at(Duration::from_secs(seconds))
    }

    fn outcomes(store: &mut Store, topic: &str, payload: &str, now: Moment) -> Vec<(usize, Event, bool)> {
        let mut outcomes = vec![Outcome { reading: 99, event: Event::Repeated, changed: false }];
        store.accept(topic, payload.as_bytes(), false, now, &mut outcomes);
        outcomes.iter().map(|outcome| (outcome.reading, outcome.event, outcome.changed)).collect()
    }

    #[test]
    fn one_message_feeds_all_readings_of_its_topic() {
        use Event::{Accepted, Rejected};
        let mut store = Store::new(cellar());
        let climate = "cellar/ripening/climate";
        assert_eq!(
            outcomes(&mut store, climate, "12.4,91.0", at(1)),
            [(0, Accepted, true), (1, Accepted, true), (3, Accepted, true)]
        );
        assert_eq!(
            outcomes(&mut store, climate, "12.4,err", at(2)),
            [(0, Accepted, false), (1, Rejected, true), (3, Accepted, false)]
        );
        assert_eq!(outcomes(&mut store, "cellar/packing/climate", "15,70", at(3)), [(3, Accepted, true)]);
        assert_eq!(outcomes(&mut store, "cellar/packing/door", "open", at(3)), []);
        assert_eq!(outcomes(&mut store, "cellar/brine/tank", r#"{"temperature":13.1}"#, at(4)), [(2, Accepted, true)]);
        assert_eq!(store.reading(0).unwrap().value(), Some(12.4));
        assert_eq!(
            store.reading(1).unwrap().fault().unwrap().to_string(),
            "expected a number in column 2, found \"err\""
        );
        assert_eq!(store.reading(3).unwrap().value(), Some(15.0));
        assert_eq!(store.counts(), Counts { accepted: 7, undecodable: 1, ..Counts::default() });
    }

    #[test]
    fn states_change_when_foretold() {
        let mut store = Store::new(cellar());
        assert_eq!(store.next_change(at(0)), None);
        outcomes(&mut store, "cellar/brine/tank", r#"{"temperature":13.1}"#, at(10));
        outcomes(&mut store, "cellar/packing/climate", "15,70", at(20));
        let first = store.next_change(at(20)).unwrap();
        assert_eq!(first, at(55) + Duration::from_nanos(1));
        assert_eq!(store.changed_since(at(20), first).collect::<Vec<_>>(), [2]);
        let second = store.next_change(first).unwrap();
        assert_eq!(store.changed_since(first, second).collect::<Vec<_>>(), [3]);
        assert_eq!(store.next_change(second), None);
        // A message that only brings the same number again still ends the staleness.
        assert_eq!(outcomes(&mut store, "cellar/packing/climate", "15,70", at(90)), [(3, Event::Accepted, true)]);
    }

    #[test]
    fn filters_are_named_once() {
        let store = Store::new(cellar());
        let filters: Vec<&str> = store.filters().into_iter().map(Filter::as_str).collect();
        assert_eq!(filters, ["cellar/ripening/climate", "cellar/brine/tank", "cellar/+/climate"]);
        assert_eq!((store.position("rh"), store.position("none")), (Some(1), None));
    }

    #[test]
    fn presence_is_subscribed_to_and_no_number() {
        use Event::{Accepted, Presence as Told};
        let status = "cellar/ripening/status";
        let known =
            |topic| Presence { topic: Filter::new(topic).unwrap(), online: "up".into(), offline: "down".into() };
        let mut specs = cellar();
        specs[0].presence = Some(known(status));
        specs[3].filter = Filter::new("cellar/ripening/#").unwrap();
        specs[3].presence = Some(known(status));
        let mut store = Store::new(specs.clone());
        let filters: Vec<&str> = store.filters().into_iter().map(Filter::as_str).collect();
        assert_eq!(filters, ["cellar/ripening/climate", status, "cellar/brine/tank", "cellar/ripening/#"]);
        outcomes(&mut store, "cellar/ripening/climate", "12.4,91.0", at(1));
        assert_eq!(outcomes(&mut store, status, "up", at(2)), [(0, Told, false), (3, Told, false)]);
        assert_eq!(outcomes(&mut store, status, "offline", at(2)), [(0, Told, false), (3, Told, false)]);
        assert_eq!(outcomes(&mut store, status, "down", at(3)), [(0, Told, true), (3, Told, true)]);
        let states: Vec<State> = store.iter().map(|(_, reading)| reading.state(at(3))).collect();
        assert_eq!(states, [State::Stale, State::Live, State::Waiting, State::Stale]);
        // A new layout knows it too, where it hears of it in the same way.
        specs[3].presence = None;
        let mut next = Store::new(specs);
        next.carry_over(&store);
        let states: Vec<State> = next.iter().map(|(_, reading)| reading.state(at(3))).collect();
        assert_eq!(states, [State::Stale, State::Live, State::Waiting, State::Live]);
        assert_eq!(outcomes(&mut store, status, "up", at(4)), [(0, Told, false), (3, Told, false)]);
        assert_eq!(
            outcomes(&mut store, "cellar/ripening/climate", "12.4,91.0", at(5)),
            [(0, Accepted, true), (1, Accepted, false), (3, Accepted, true)]
        );
    }

    #[test]
    fn a_number_that_was_calibrated_otherwise_is_not_carried_over() {
        let mut old = Store::new(cellar());
        outcomes(&mut old, "cellar/ripening/climate", "12.4,91.0", at(1));
        let mut specs = cellar();
        specs[0].trust.offset = -0.5;
        let mut new = Store::new(specs);
        new.carry_over(&old);
        let states: Vec<_> = new.iter().map(|(_, reading)| (reading.state(at(2)), reading.value())).collect();
        assert_eq!(states[..2], [(State::Waiting, None), (State::Live, Some(91.0))]);
        let mut trusting = cellar();
        trusting[0].trust.jump = Some(1.0);
        let mut store = Store::new(trusting);
        outcomes(&mut store, "cellar/ripening/climate", "12.4,91.0", at(1));
        assert_eq!(outcomes(&mut store, "cellar/ripening/climate", "30,91.0", at(2))[0], (0, Event::Rejected, false));
        assert_eq!((store.counts().jumps, store.counts().rejected()), (1, 1));
    }

    #[test]
    fn a_new_layout_goes_on_where_the_old_one_was() {
        let mut old = Store::new(cellar());
        outcomes(&mut old, "cellar/ripening/climate", "12.4,91.0", at(1));
        let mut specs = cellar();
        specs.reverse();
        specs[3].name = "ripening".into();
        specs[2].pick = Pick::column(1, ',').unwrap();
        specs[2].range = Some((0.0, 10.0));
        specs[0].filter = Filter::new("cellar/packing/climate").unwrap();
        let mut new = Store::new(specs);
        new.carry_over(&old);
        let now = at(5);
        let view: Vec<_> = new.iter().map(|(spec, it)| (&*spec.name, it.state(now), it.value())).collect();
        assert_eq!(
            view,
            [
                ("any", State::Waiting, None),
                ("brine", State::Waiting, None),
                ("rh", State::Faulty, None),
                ("ripening", State::Live, Some(12.4)),
            ]
        );
        assert_eq!(new.next_change(now), Some(at(46) + Duration::from_nanos(1)));
    }

    #[test]
    fn readings_can_be_set_by_name() {
        let mut store = Store::new(cellar());
        assert!(store.set("temp", 12.4, State::Stale, at(0)));
        assert!(!store.set("temperature", 12.4, State::Live, at(0)));
        assert_eq!(store.reading(0).unwrap().state(at(0)), State::Stale);
        assert!(store.reading(4).is_none() && store.spec(4).is_none());
    }

    proptest! {
        #[test]
        fn nothing_that_is_published_can_do_harm(
            messages in proptest::collection::vec(("(cellar/)?(ripening|brine|[a-z]{0,3})/(climate|tank)", proptest::collection::vec(any::<u8>(), 0..40), any::<bool>()), 0..20),
        ) {
            let mut store = Store::new(cellar());
            let mut found = Vec::new();
            for (second, (topic, payload, retained)) in messages.iter().enumerate() {
                let now = at(second as u64);
                store.accept(topic, payload, *retained, now, &mut found);
                prop_assert!(found.len() <= store.len());
                for (spec, reading) in store.iter() {
                    let (low, high) = spec.range.unwrap();
                    prop_assert!(reading.value().is_none_or(|value| (low..=high).contains(&value)));
                }
            }
        }
    }
}
