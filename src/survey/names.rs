//! Names for readings, and the captions above them, from topics and places in payloads.
//!
//! What enters are topics and spots; what leaves are names that a layout can have and short captions, no two alike.

use std::collections::BTreeSet;

use super::look::Spot;

/// Characters of a caption: as many of the smallest face as fit half a panel.
pub(super) const LONGEST_CAPTION: usize = 12;
/// Characters of one that has the whole width.
const LONGEST_LONG: usize = 24;
/// Characters of a name.
const LONGEST_NAME: usize = 40;
/// The language's own words.
pub(super) const RESERVED: [&str; 9] = ["if", "then", "else", "and", "or", "not", "as", "true", "false"];

/// What one reading is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Called {
    pub name: String,
    pub caption: String,
    /// The caption where there is the width of a whole panel.
    pub long: String,
}

/// Names for readings, given where each is heard. `several` tells whether others share its topic.
pub(super) fn call(heard: &[(&str, &Spot, bool)]) -> Vec<Called> {
    let levels: Vec<Vec<String>> = heard.iter().map(|(topic, ..)| levels(topic)).collect();
    let shared = shared(&levels);
    let (mut names, mut captions) = (BTreeSet::new(), BTreeSet::new());
    heard
        .iter()
        .zip(&levels)
        .map(|((_, spot, several), levels)| {
            let own = &levels[shared.min(levels.len().saturating_sub(1))..];
            let part = part(spot, *several).filter(|part| own.last() != Some(part));
            let caption = caption(own, part.as_deref(), &mut captions);
            let words: Vec<&str> = own.iter().map(String::as_str).chain(part.as_deref()).collect();
            let long = words.join(" ").replace('_', " ");
            let long = if long.chars().count() <= LONGEST_LONG { long } else { caption.clone() };
            Called { name: name(own, part.as_deref(), &mut names), caption, long }
        })
        .collect()
}

/// The levels of a topic as words of plain letters.
fn levels(topic: &str) -> Vec<String> {
    topic.split('/').map(plain).filter(|level| !level.is_empty()).collect()
}

/// Letters and digits, words of them joined with `_`.
fn plain(text: &str) -> String {
    let lower = text.to_ascii_lowercase();
    let words: Vec<&str> =
        lower.split(|sign: char| !sign.is_ascii_alphanumeric()).filter(|word| !word.is_empty()).collect();
    words.join("_")
}

/// How many levels all topics begin with alike.
fn shared(levels: &[Vec<String>]) -> usize {
    let Some(first) = levels.first() else { return 0 };
    (0..first.len()).take_while(|at| levels.iter().all(|other| other.get(*at) == first.get(*at))).count()
}

/// What tells a field from the others of its topic.
fn part(spot: &Spot, several: bool) -> Option<String> {
    match spot {
        Spot::Whole => None,
        Spot::Column { number, .. } => several.then(|| number.to_string()),
        Spot::Pointer(pointer) => Some(plain(pointer)),
        // The name of a device is long and says nothing; what it measures comes last.
        Spot::Senml(name) => Some(plain(name.rsplit(['/', '_', ':']).find(|part| !part.is_empty()).unwrap_or(name))),
    }
    .filter(|part| !part.is_empty())
}

fn name(levels: &[String], part: Option<&str>, taken: &mut BTreeSet<String>) -> String {
    let words: Vec<&str> = levels.iter().map(String::as_str).chain(part).collect();
    let mut name: String = words.join("_").chars().take(LONGEST_NAME).collect();
    if !name.starts_with(|first: char| first.is_ascii_alphabetic()) || RESERVED.contains(&name.as_str()) {
        name.insert_str(0, "r_");
    }
    unique(name, LONGEST_NAME + 4, taken)
}

/// The most telling words that fit: all of them, or the first and the last.
fn caption(levels: &[String], part: Option<&str>, taken: &mut BTreeSet<String>) -> String {
    let spaced = |text: &str| text.replace('_', " ");
    let words: Vec<String> = levels.iter().map(String::as_str).chain(part).map(spaced).collect();
    let (first, last) = (words.first().cloned().unwrap_or_default(), words.last().cloned().unwrap_or_default());
    let beside = words.len().checked_sub(2).map(|at| format!("{} {last}", words[at]));
    let fits = |caption: &String| (1..=LONGEST_CAPTION).contains(&caption.trim().chars().count());
    let choices = [
        Some(words.join(" ")),
        Some(format!("{first} {last}")),
        abbreviated(&first, &last).filter(|_| words.len() > 1),
        beside,
        Some(last.clone()),
        Some(first),
    ];
    let mut fitting = choices.into_iter().flatten().filter(fits);
    let chosen = fitting.find(|caption| !taken.contains(caption));
    let short = || last.chars().take(LONGEST_CAPTION).collect::<String>().trim().to_owned();
    unique(chosen.unwrap_or_else(short), LONGEST_CAPTION, taken)
}

/// The first word cut short with a point, so that the last one fits behind it; `None` where nothing would be left of it.
fn abbreviated(first: &str, last: &str) -> Option<String> {
    let room = LONGEST_CAPTION.checked_sub(last.chars().count() + 2).filter(|room| *room >= 3)?;
    let kept: String = first.chars().take(room).collect();
    // As abbreviations end, not with a vowel.
    let kept = kept.trim_end_matches(|sign: char| !sign.is_ascii_alphanumeric() || "aeiou".contains(sign));
    (kept.len() >= 3).then(|| format!("{kept}. {last}"))
}

/// The text, or with a number behind it where it is taken, shortened so that it fits.
fn unique(text: String, longest: usize, taken: &mut BTreeSet<String>) -> String {
    let mut candidate = text.clone();
    let mut number = 2;
    while !taken.insert(candidate.clone()) {
        let ending = number.to_string();
        candidate = text.chars().take(longest.saturating_sub(ending.len() + 1)).collect::<String>();
        candidate.push(if longest == LONGEST_CAPTION { ' ' } else { '_' });
        candidate.push_str(&ending);
        candidate = candidate.trim_start().to_owned();
        number += 1;
    }
    candidate
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn called(heard: &[(&str, &Spot, bool)]) -> Vec<(String, String)> {
        call(heard).into_iter().map(|called| (called.name, called.caption)).collect()
    }

    #[test]
    fn names_come_from_what_tells_topics_apart() {
        let (first, second) = (Spot::column(1, ',', false), Spot::column(2, ',', false));
        let level = Spot::Pointer("/level".into());
        let power = Spot::Senml("urn:dev:mac:02005efffe100001_power".into());
        let heard = [
            ("cellar/ripening/climate", &first, true),
            ("cellar/ripening/climate", &second, true),
            ("cellar/brine/tank", &level, false),
            ("cellar/plant/power", &power, true),
            ("cellar/ripening/door", &Spot::Whole, false),
        ];
        let wanted = [
            ("ripening_climate_1", "ripening 1"),
            ("ripening_climate_2", "ripening 2"),
            ("brine_tank_level", "brine level"),
            ("plant_power", "plant power"),
            ("ripening_door", "ripen. door"),
        ];
        assert_eq!(called(&heard), wanted.map(|(name, caption)| (name.to_owned(), caption.to_owned())));
        assert_eq!(called(&[("cellar/door", &Spot::Whole, false)]), [("door".into(), "door".into())]);
        assert_eq!(called(&[("1/if", &Spot::Whole, false)]), [("r_if".into(), "if".into())]);
        assert_eq!(called(&[("//", &Spot::Whole, false)]), [("r_".into(), String::new())]);
    }

    proptest! {
        #[test]
        fn no_two_are_alike(topics in proptest::collection::vec("[a-c/_ é]{0,30}", 1..20)) {
            let heard: Vec<_> = topics.iter().map(|topic| (topic.as_str(), &Spot::Whole, false)).collect();
            let called = call(&heard);
            let names: BTreeSet<&str> = called.iter().map(|called| called.name.as_str()).collect();
            let captions: BTreeSet<&str> = called.iter().map(|called| called.caption.as_str()).collect();
            prop_assert_eq!((names.len(), captions.len()), (heard.len(), heard.len()));
            for called in &called {
                prop_assert!(called.caption.chars().count() <= LONGEST_CAPTION, "{called:?}");
                prop_assert!(called.name.len() <= LONGEST_NAME + 8, "{called:?}");
            }
        }
    }
}
