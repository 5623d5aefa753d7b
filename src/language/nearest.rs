//! The known name that a misspelt one was probably meant to be.

/// The longest name that is compared, in characters: comparing takes time in proportion to both lengths.
const MAX_CHARACTERS: usize = 64;

/// How many candidates are looked at: there are fewer time zones, and no layout that anybody wrote by hand has more names.
const MAX_CANDIDATES: usize = 640;

/// The candidate that differs least from `name`, if it differs little: by one edit (a character put in, left out, replaced, or
/// two swapped) for every three characters of the longer one, and at least by one. Upper and lower case count as equal. Of
/// several equally near the first wins.
pub fn nearest<'a>(name: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let length = name.chars().count();
    if length == 0 || length > MAX_CHARACTERS {
        return None;
    }
    let name = name.to_lowercase();
    let mut best: Option<(usize, &'a str)> = None;
    for candidate in candidates.into_iter().take(MAX_CANDIDATES) {
        let longer = candidate.chars().count().max(length);
        if longer > MAX_CHARACTERS {
            continue;
        }
        let distance = strsim::damerau_levenshtein(&name, &candidate.to_lowercase());
        let allowed = (longer / 3).max(1);
        // A name of one letter is one edit away from any other: nearness says nothing there.
        let alike = distance <= allowed && distance < longer;
        if alike && best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    const WORDS: [&str; 8] = ["columns", "stack", "text", "bar", "trend", "icon", "rule", "frame"];

    #[test]
    fn a_slip_finds_its_word() {
        assert_eq!(nearest("colums", WORDS), Some("columns"));
        assert_eq!(nearest("txet", WORDS), Some("text"));
        assert_eq!(nearest("Icon", WORDS), Some("icon"));
        assert_eq!(nearest("br", WORDS), Some("bar"));
        assert_eq!(nearest("tremd", WORDS), Some("trend"));
    }

    #[test]
    fn something_else_finds_nothing() {
        assert_eq!(nearest("picture", WORDS), None);
        assert_eq!(nearest("x", WORDS), None);
        assert_eq!(nearest("x", ["y"]), None);
        assert_eq!(nearest("", WORDS), None);
        assert_eq!(nearest("bar", []), None);
    }

    #[test]
    fn the_nearest_wins_and_then_the_first() {
        assert_eq!(nearest("temps", ["temp2", "temp"]), Some("temp2"));
        assert_eq!(nearest("temp_ripeing", ["temp_brine", "temp_ripening"]), Some("temp_ripening"));
    }

    #[test]
    fn length_is_bounded() {
        let long = "a".repeat(100_000);
        assert_eq!(nearest(&long, [long.as_str()]), None);
        assert_eq!(nearest("a", [long.as_str()]), None);
    }
}
