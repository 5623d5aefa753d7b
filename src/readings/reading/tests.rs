//! What a reading does with messages, silence and a new layout: case by case, and the rules after any messages.

use super::super::Pick;
use super::*;
use proptest::prelude::*;

const LIMITS: Limits = Limits { range: Some((-10.0, 40.0)), stale: Some(Duration::from_secs(45)), trust: Trust::PLAIN };

fn at(seconds: u64) -> Moment {
    Moment::at(Duration::from_secs(seconds))
}

fn garbage() -> Result<f64, DecodeError> {
    Err(DecodeError::Empty)
}

fn live(value: f64) -> Reading {
    let mut reading = Reading::new(LIMITS);
    assert_eq!(reading.accept(Ok(value), false, at(100)), Event::Accepted);
    reading
}

#[test]
fn waits_lives_and_grows_stale() {
    let reading = Reading::new(LIMITS);
    assert_eq!((reading.state(at(1_000_000)), reading.value(), reading.age(at(5))), (State::Waiting, None, None));
    assert_eq!(reading.next_change(at(0)), None);

    let reading = live(12.4);
    let change = reading.next_change(at(100)).unwrap();
    assert_eq!(reading.state(at(145)), State::Live);
    assert_eq!(change, at(145) + Duration::from_nanos(1));
    assert_eq!(reading.state(change), State::Stale);
    assert_eq!((reading.value(), reading.age(at(160))), (Some(12.4), Some(Duration::from_secs(60))));
    assert_eq!(reading.next_change(change), None);
}

#[test]
fn without_a_limit_nothing_grows_stale() {
    let mut reading = Reading::new(Limits { stale: None, ..LIMITS });
    reading.accept(Ok(1.0), true, at(0));
    assert_eq!((reading.state(at(1 << 40)), reading.age(at(5))), (State::Live, None));
    reading.accept(Ok(2.0), false, at(0));
    assert_eq!((reading.state(at(1 << 40)), reading.next_change(at(0))), (State::Live, None));
}

#[test]
fn a_fault_hides_the_number_until_a_good_one_comes() {
    let mut reading = live(12.4);
    assert_eq!(reading.accept(garbage(), false, at(110)), Event::Rejected);
    assert_eq!((reading.state(at(110)), reading.value()), (State::Faulty, None));
    assert_eq!(reading.fault(), Some(&Fault::Undecodable(DecodeError::Empty)));
    assert_eq!((reading.state(at(100_000)), reading.next_change(at(110))), (State::Faulty, None));
    assert_eq!(reading.accept(Ok(40.1), false, at(120)), Event::Rejected);
    assert_eq!(reading.fault().unwrap().to_string(), "40.1 is out of range -10.0 to 40.0");
    assert_eq!(reading.accept(Ok(40.0), false, at(130)), Event::Accepted);
    assert_eq!((reading.state(at(130)), reading.value(), reading.fault()), (State::Live, Some(40.0), None));
}

#[test]
fn retained_messages_are_stale_until_a_live_one_comes() {
    let mut reading = Reading::new(LIMITS);
    assert_eq!(reading.accept(Ok(12.0), true, at(0)), Event::Accepted);
    assert_eq!((reading.state(at(0)), reading.value(), reading.age(at(9))), (State::Stale, Some(12.0), None));
    assert_eq!(reading.accept(Ok(12.0), true, at(1)), Event::Repeated);
    assert_eq!(reading.state(at(1)), State::Stale);
    reading.accept(Ok(12.0), false, at(2));
    assert_eq!(reading.state(at(2)), State::Live);
}

#[test]
fn a_retained_repetition_after_a_reconnection_changes_nothing() {
    let mut reading = live(12.4);
    let before = reading.clone();
    assert_eq!(reading.accept(Ok(12.4), true, at(110)), Event::Repeated);
    assert_eq!(reading, before);
    assert_eq!(reading.accept(Ok(12.5), true, at(111)), Event::Accepted);
    assert_eq!((reading.state(at(111)), reading.value()), (State::Stale, Some(12.5)));
    assert_eq!(reading.accept(garbage(), true, at(112)), Event::Rejected);
    assert_eq!((reading.state(at(112)), reading.age(at(200))), (State::Faulty, None));
    assert_eq!(reading.accept(Ok(12.5), true, at(113)), Event::Accepted);
    assert_eq!(reading.state(at(113)), State::Stale);
}

#[test]
fn refusals_are_counted_by_reason() {
    let mut reading = live(12.4);
    reading.accept(garbage(), false, at(1));
    reading.accept(Err::<f64, _>(DecodeError::TooLong { length: 70_000 }), false, at(1));
    for payload in [&b"nan"[..], b"1e999", b"99"] {
        reading.accept(Pick::number().decode(payload), false, at(1));
    }
    let counts = Counts { accepted: 1, undecodable: 1, too_long: 1, not_finite: 2, out_of_range: 1, jumps: 0 };
    assert_eq!((reading.counts(), reading.counts().rejected()), (counts, 5));
}

#[test]
fn states_can_be_set_for_a_picture() {
    let mut reading = Reading::new(LIMITS);
    for state in [State::Live, State::Stale] {
        reading.set(12.4, state, at(7));
        assert_eq!((reading.state(at(7)), reading.value()), (state, Some(12.4)));
    }
    for state in [State::Waiting, State::Faulty] {
        reading.set(12.4, state, at(7));
        assert_eq!((reading.state(at(7)), reading.value()), (state, None));
    }
    for wrong in [41.0, f64::NAN] {
        reading.set(wrong, State::Live, at(7));
        assert_eq!(reading.state(at(7)), State::Faulty);
    }
    let mut unlimited = Reading::new(Limits::default());
    unlimited.set(12.4, State::Stale, at(7));
    assert_eq!(unlimited.state(at(7)), State::Stale);
}

#[test]
fn what_is_carried_over_is_judged_anew() {
    let carried = |old: &Reading, limits| {
        let mut new = Reading::new(limits);
        new.carry_over(old, true);
        (new.state(at(120)), new.value(), new.age(at(120)))
    };
    let age = Some(Duration::from_secs(20));
    let old = live(12.4);
    assert_eq!(carried(&old, LIMITS), (State::Live, Some(12.4), age));
    assert_eq!(carried(&old, Limits { range: Some((0.0, 10.0)), ..LIMITS }), (State::Faulty, None, age));
    let short = Limits { stale: Some(Duration::from_secs(10)), ..LIMITS };
    assert_eq!(carried(&old, short), (State::Stale, Some(12.4), age));

    let mut kept = Reading::new(Limits { stale: None, ..LIMITS });
    kept.accept(Ok(12.4), true, at(100));
    assert_eq!(kept.state(at(120)), State::Live);
    assert_eq!(carried(&kept, LIMITS), (State::Stale, Some(12.4), None));

    let mut hot = Reading::new(LIMITS);
    hot.accept(Ok(41.0), false, at(100));
    assert_eq!(carried(&hot, Limits { range: None, ..LIMITS }), (State::Live, Some(41.0), age));
}

fn trusting(trust: Trust) -> Reading {
    Reading::new(Limits { trust, ..LIMITS })
}

#[test]
fn numbers_are_calibrated_before_they_are_judged() {
    let mut reading = trusting(Trust { scale: 0.1, offset: -1.0, ..Trust::PLAIN });
    assert_eq!(reading.accept(Ok(134.0), false, at(0)), Event::Accepted);
    assert!((reading.value().unwrap() - 12.4).abs() < 1e-12);
    assert_eq!(reading.accept(Ok(420.0), false, at(1)), Event::Rejected);
    assert_eq!(reading.fault().unwrap().to_string(), "41.0 is out of range -10.0 to 40.0");
    let huge = Trust { scale: 1e300, ..Trust::PLAIN };
    let mut reading = Reading::new(Limits { trust: huge, ..Limits::default() });
    assert_eq!(reading.accept(Ok(-1e300), false, at(0)), Event::Rejected);
    assert_eq!(reading.fault().unwrap().to_string(), "expected a finite number, found \"-inf after calibration\"");
    assert_eq!(reading.counts().not_finite, 1);
}

#[test]
fn a_jump_is_rejected_until_a_second_number_confirms_it() {
    let mut reading = trusting(Trust { jump: Some(2.0), ..Trust::PLAIN });
    reading.accept(Ok(12.0), false, at(100));
    assert_eq!(reading.accept(Ok(31.0), false, at(110)), Event::Rejected);
    // It keeps its number, and grows old as if nothing had come.
    assert_eq!((reading.state(at(110)), reading.value(), reading.fault()), (State::Live, Some(12.0), None));
    assert_eq!(reading.age(at(110)), Some(Duration::from_secs(10)));
    assert_eq!(reading.state(at(146)), State::Stale);
    let why = "31.0 is too far from 12.0, more than 2.0 a minute";
    assert_eq!(reading.refused().unwrap().to_string(), why);
    // The broker kept it: that confirms nothing.
    assert_eq!(reading.accept(Ok(31.0), true, at(111)), Event::Repeated);
    assert_eq!(reading.accept(Ok(30.5), false, at(120)), Event::Accepted);
    assert_eq!((reading.state(at(120)), reading.value()), (State::Live, Some(30.5)));
    assert_eq!(reading.counts(), Counts { accepted: 2, jumps: 1, ..Counts::default() });
    assert_eq!(reading.counts().rejected(), 1);
}

#[test]
fn a_confirmed_jump_is_not_smoothed() {
    let mut reading = trusting(Trust { jump: Some(2.0), smooth: Smooth::Median(3), ..Trust::PLAIN });
    for (second, number) in [(0, 12.0), (4, 12.1), (8, 12.2), (12, 30.0), (16, 30.1)] {
        reading.accept(Ok(number), false, at(second));
    }
    assert_eq!(reading.value(), Some(30.1));
}

#[test]
fn a_retained_repetition_is_compared_with_what_was_heard() {
    let mut reading = trusting(Trust { smooth: Smooth::Median(3), ..Trust::PLAIN });
    for number in [12.0, 13.0, 14.0] {
        reading.accept(Ok(number), false, at(100));
    }
    assert_eq!(reading.value(), Some(13.0));
    assert_eq!(reading.accept(Ok(14.0), true, at(101)), Event::Repeated);
    assert_eq!(reading.accept(Ok(13.0), true, at(101)), Event::Accepted);
    assert_eq!(reading.state(at(101)), State::Stale);
}

#[test]
fn the_age_limit_can_follow_the_cadence() {
    let trust = Trust { cadence: true, ..Trust::PLAIN };
    let mut reading = Reading::new(Limits { stale: Some(Duration::from_secs(300)), trust, ..LIMITS });
    for second in [0, 20, 40] {
        reading.accept(Ok(12.0), false, at(second));
    }
    assert_eq!(reading.next_change(at(40)), Some(at(340) + Duration::from_nanos(1)));
    reading.accept(garbage(), false, at(60));
    reading.accept(Ok(12.0), false, at(80));
    assert_eq!(reading.age_limit(), Some(Duration::from_secs(60)));
    assert_eq!((reading.state(at(140)), reading.state(at(141))), (State::Live, State::Stale));
    assert_eq!(reading.next_change(at(80)), Some(at(140) + Duration::from_nanos(1)));
}

#[test]
fn a_rejected_jump_does_not_make_an_old_number_live_again() {
    let trust = Trust { cadence: true, jump: Some(1.0), ..Trust::PLAIN };
    let mut reading = trusting(trust);
    for second in [0, 20, 40, 60] {
        reading.accept(Ok(12.0), false, at(second));
    }
    for (second, number) in [(160, 30.0), (260, -5.0), (360, 39.0)] {
        assert_eq!(reading.state(at(second)), State::Stale);
        // Each of them far from the others.
        assert_eq!(reading.accept(Ok(number), false, at(second)), Event::Rejected, "{second}");
        assert_eq!(reading.state(at(second)), State::Stale);
    }
}

#[test]
fn what_is_carried_over_was_calibrated_and_smoothed_alike() {
    let trust = Trust { smooth: Smooth::Median(3), ..Trust::PLAIN };
    let mut old = trusting(trust);
    for number in [12.0, 13.0, 14.0] {
        old.accept(Ok(number), false, at(100));
    }
    let carried = |limits| {
        let mut new = Reading::new(limits);
        new.carry_over(&old, true);
        new
    };
    let same = carried(old.limits());
    assert_eq!((same.value(), same == old), (Some(13.0), true));
    assert_eq!(carried(LIMITS).value(), Some(14.0));
    let narrow = Limits { range: Some((12.5, 20.0)), trust, ..LIMITS };
    let mut narrowed = carried(narrow);
    assert_eq!(narrowed.accept(Ok(14.0), true, at(101)), Event::Repeated);
    narrowed.accept(Ok(13.0), false, at(104));
    assert_eq!(narrowed.value(), Some(13.0));
    for calibration in [Trust { scale: 2.0, ..trust }, Trust { offset: 0.1, ..trust }] {
        let other = carried(Limits { trust: calibration, ..LIMITS });
        assert_eq!((other.state(at(101)), other.counts().accepted), (State::Waiting, 3));
    }
}

fn trust() -> impl Strategy<Value = Trust> {
    let smooth = prop_oneof![
        Just(Smooth::Off),
        (3..16usize).prop_map(Smooth::Median),
        (1..100u64).prop_map(|seconds| Smooth::Average(Duration::from_secs(seconds))),
    ];
    (-3.0..3.0f64, -5.0..5.0f64, proptest::option::of(0.1..50.0f64), smooth, any::<bool>())
        .prop_map(|(scale, offset, jump, smooth, cadence)| Trust { scale, offset, jump, smooth, cadence })
}

#[test]
fn a_number_may_have_been_old_when_it_came() {
    let aged = |seconds| Ok(Sample { value: 12.4, age: Duration::from_secs(seconds) });
    let mut reading = Reading::new(LIMITS);
    // Older than the start of the clock.
    reading.accept(aged(30), false, at(10));
    assert_eq!((reading.state(at(25)), reading.state(at(26))), (State::Live, State::Stale));
    assert_eq!(reading.age(at(10)), Some(Duration::from_secs(30)));
    assert_eq!(reading.next_change(at(10)), Some(at(25) + Duration::from_nanos(1)));
    reading.accept(aged(46), false, at(30));
    assert_eq!((reading.state(at(30)), reading.next_change(at(30))), (State::Stale, None));
    reading.accept(aged(u64::MAX), false, at(31));
    assert_eq!(reading.state(at(31)), State::Stale);
}

#[test]
fn a_publisher_that_is_gone_makes_its_number_stale_at_once() {
    let mut reading = live(12.4);
    reading.hear_presence(true);
    assert_eq!(reading.state(at(101)), State::Live);
    reading.hear_presence(false);
    assert_eq!((reading.state(at(102)), reading.value()), (State::Stale, Some(12.4)));
    assert_eq!((reading.publisher(), reading.next_change(at(102))), (Publisher::Gone, None));
    // It waits for the next live number; a kept one is as old as before.
    reading.hear_presence(true);
    assert_eq!((reading.state(at(103)), reading.publisher()), (State::Stale, Publisher::Back));
    reading.accept(Ok(12.5), true, at(104));
    assert_eq!(reading.state(at(104)), State::Stale);
    reading.accept(Ok(12.5), false, at(105));
    assert_eq!((reading.state(at(105)), reading.publisher()), (State::Live, Publisher::There));

    let mut door = Reading::new(Limits { stale: None, ..LIMITS });
    door.hear_presence(false);
    assert_eq!(door.state(at(0)), State::Waiting);
    door.accept(Ok(1.0), true, at(1));
    assert_eq!(door.state(at(1)), State::Stale);
}

/// A message: its number (or garbage), whether it was retained, and how long after the one before it came.
fn message() -> impl Strategy<Value = (Option<f64>, bool, u64)> {
    (proptest::option::weighted(0.8, prop_oneof![-20.0..50.0f64, Just(12.0)]), any::<bool>(), 0..60u64)
}

proptest! {
    #[test]
    fn no_trust_shows_a_number_out_of_range(
        trust in trust(),
        messages in proptest::collection::vec(message(), 0..40),
    ) {
        let mut reading = trusting(trust);
        let mut now = at(0);
        for (number, retained, after) in messages {
            now = now + Duration::from_secs(after);
            let before = (reading.state(now), reading.value(), reading.counts());
            let event = reading.accept(number.ok_or(DecodeError::Empty), retained, now);
            prop_assert!(reading.value().is_none_or(|value| (-10.0..=40.0).contains(&value)));
            let counts = reading.counts();
            let jumped = counts.jumps > before.2.jumps;
            if jumped || event == Event::Repeated {
                prop_assert_eq!((reading.state(now), reading.value()), (before.0, before.1));
            } else {
                prop_assert_eq!(event == Event::Rejected, reading.state(now) == State::Faulty);
            }
            let told = u64::from(event != Event::Repeated);
            prop_assert_eq!(counts.accepted + counts.rejected(), before.2.accepted + before.2.rejected() + told);
        }
    }

    #[test]
    fn the_rules_hold_after_any_messages(
        messages in proptest::collection::vec(message(), 0..30),
        silence in 0..200u64,
        limited in any::<bool>(),
    ) {
        let limits = Limits { stale: limited.then_some(Duration::from_secs(45)), ..LIMITS };
        let mut reading = Reading::new(limits);
        let mut now = at(0);
        let mut last_live_good = None;
        for (number, retained, after) in &messages {
            now = now + Duration::from_secs(*after);
            let decoded = number.ok_or(DecodeError::Empty);
            let before = (reading.state(now), reading.value());
            let event = reading.accept(decoded, *retained, now);
            let good = number.is_some_and(|value| (-10.0..=40.0).contains(&value));
            prop_assert_eq!(event == Event::Rejected, !good);
            prop_assert_eq!(reading.state(now) == State::Faulty, !good);
            match event {
                Event::Repeated => prop_assert_eq!((reading.state(now), reading.value()), before),
                Event::Accepted => prop_assert_eq!(reading.value(), *number),
                Event::Rejected => prop_assert_eq!(reading.value(), None),
                Event::Presence => prop_assert!(false, "nothing told of it"),
            }
            if good && !retained {
                prop_assert_eq!(reading.state(now), State::Live);
                last_live_good = Some(now);
            }
        }
        prop_assert_eq!(reading.state(now) == State::Waiting, messages.is_empty());

        let later = now + Duration::from_secs(silence);
        if reading.state(later) == State::Live && limited {
            // Never live without a good live message that is young enough.
            prop_assert!(later.since(last_live_good.unwrap()) <= Duration::from_secs(45));
        }
        prop_assert_eq!(reading.value().is_some(), matches!(reading.state(later), State::Live | State::Stale));
        // A state changes by itself when it was foretold, and at no other time.
        match reading.next_change(now) {
            Some(change) => {
                let expected = if later >= change { State::Stale } else { reading.state(now) };
                prop_assert_eq!(reading.state(later), expected);
                prop_assert_eq!(reading.state(change), State::Stale);
            }
            None => prop_assert_eq!(reading.state(later), reading.state(now)),
        }
    }
}
