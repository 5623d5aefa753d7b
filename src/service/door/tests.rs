//! What a door decides, without a broker.

use std::fs;
use std::os::unix::fs::symlink;

use super::*;
use crate::feed::Delivery;

const GOOD: &str = "panel 128x32\nscreen s { text \"a\" }\n";
const OURS: Size = Size::new(128, 32);

fn door() -> Door {
    Door::new(DoorTopics::below("cellar/doors/ripening").unwrap(), None)
}

fn message(topic: &str, payload: &str) -> Message {
    Message { topic: topic.into(), payload: payload.into(), retained: true, delivery: Delivery::AtMostOnce }
}

fn judge(layout: impl Into<Vec<u8>>, path: &Path) -> Result<(), String> {
    let judged = door().judge(&Arrival::Payload(layout.into()), path, OURS);
    judged.map(drop).map_err(|refusal| match refusal.layout() {
        Some(layout) => format!("{refusal}: {}", layout.findings[0].message),
        None => refusal.to_string(),
    })
}

#[test]
fn topics_lie_below_the_one_that_was_chosen() {
    let topics = DoorTopics::below("cellar/doors/ripening").unwrap();
    assert_eq!(topics.layout.as_str(), "cellar/doors/ripening/layout");
    assert_eq!(topics.answer.as_str(), "cellar/doors/ripening/layout/answer");
    assert!(DoorTopics::below("").is_err() && DoorTopics::below("cellar/+/door").is_err());
}

#[test]
fn a_good_layout_is_taken_and_another_is_refused_in_words() {
    let path = Path::new("door.layout");
    assert_eq!(judge(GOOD, path), Ok(()));
    for (layout, words) in [
        (GOOD.replace("32", "64").into_bytes(), "it is for a panel of 128x64 pixels, and this door's has 128x32"),
        (GOOD.replace("text", "txt").into_bytes(), "it cannot be shown: 1 error: "),
        (vec![0xff; 10], "it cannot be shown: 1 error: expected UTF-8 text"),
    ] {
        let told = judge(layout, path).unwrap_err();
        assert!(told.starts_with(words), "{told}");
    }
    let told = door().judge(&Arrival::Oversized { bytes: 70_000 }, path, OURS).unwrap_err().to_string();
    assert_eq!(told, "it has 70000 bytes, and at most 65536 are taken");
}

/// Whoever may publish a layout must not read this machine's files through it, nor have it wait for what never ends.
#[test]
fn a_layout_from_the_broker_reads_only_what_lies_beside_the_layout() {
    let folder = tempfile::tempdir().unwrap();
    let (doors, elsewhere) = (folder.path().join("doors"), folder.path().join("elsewhere"));
    fs::create_dir(&doors).unwrap();
    fs::create_dir(&elsewhere).unwrap();
    fs::write(elsewhere.join("secret.ttf"), "no font").unwrap();
    fs::write(doors.join("own.ttf"), "no font").unwrap();
    symlink(elsewhere.join("secret.ttf"), doors.join("link.ttf")).unwrap();
    symlink("/dev/zero", doors.join("endless.ttf")).unwrap();
    let told = |name: &str| {
        let layout = format!("panel 128x32\nscreen s {{ text \"a\" face: \"{name}\" size: 12 }}\n");
        judge(layout, &doors.join("door.layout")).unwrap_err()
    };
    let whole = elsewhere.join("secret.ttf").display().to_string();
    for name in ["../elsewhere/secret.ttf", "./../elsewhere/secret.ttf", whole.as_str(), "link.ttf", "endless.ttf"] {
        assert!(told(name).contains("lies outside of the folder"), "{}", told(name));
    }
    assert!(told("none.ttf").contains("cannot read \"none.ttf\""), "{}", told("none.ttf"));
    let read = told("own.ttf");
    assert!(!read.contains("lies outside") && !read.contains("cannot read"), "it is read, and is no font: {read}");
}

#[test]
fn only_the_newest_waits_and_a_few_are_looked_at() {
    let at = |seconds| Moment::at(Duration::from_secs(seconds));
    let mut door = door();
    door.hear(&message("cellar/doors/brine/layout", GOOD));
    door.hear(&message("cellar/doors/ripening/layout", ""));
    assert!(door.due(at(0)).is_none() && door.next_due().is_none());
    let mut seen = 0;
    for second in 0..100 {
        for number in 0..50 {
            door.hear(&message("cellar/doors/ripening/layout", &number.to_string()));
        }
        if let Some(arrival) = door.due(at(second)) {
            assert!(matches!(arrival, Arrival::Payload(payload) if payload == b"49"));
            seen += 1;
        }
    }
    assert_eq!(seen, 12, "three at once and one in ten seconds");
    assert_eq!(door.next_due(), Some(at(100)));
    door.hear_oversized("cellar/doors/ripening/layout", 70_000);
    assert!(matches!(door.due(at(100)), Some(Arrival::Oversized { bytes: 70_000 })));
    assert!(door.due(at(200)).is_none() && door.next_due().is_none());
}

#[test]
fn what_is_new_is_answered_once_and_to_a_new_connection_again() {
    let mut door = door();
    let arrival = Arrival::Payload(GOOD.into());
    let shows = digest(GOOD);
    assert_eq!(door.answer("00", OURS), Some(Answer::new("00".into(), "128x32".into(), true, None)));
    door.answered("00");
    assert_eq!(door.answer("00", OURS), None);
    assert!(door.answer("01", OURS).is_some(), "a saved file changed what is shown");
    assert!(door.conclude(&arrival, None) && !door.conclude(&arrival, None));
    door.keeps(&shows, false);
    let answer = door.answer(&shows, OURS).unwrap();
    assert_eq!((answer.kept, answer.last), (false, Some(Verdict::taken(shows.clone()))));
    door.answered(&shows);
    door.start_over();
    assert!(door.answer(&shows, OURS).is_some());
    assert!(door.answer("01", OURS).unwrap().kept, "what the file holds now");
    let large = Arrival::Oversized { bytes: 70_000 };
    door.conclude(&large, Some(&Refusal::TooLarge { bytes: 70_000 }));
    let last = door.answer(&shows, OURS).unwrap().last.unwrap();
    assert_eq!((last.sha256, last.taken), (None, false));
}
