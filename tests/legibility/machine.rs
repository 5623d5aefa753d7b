//! Numbers read by a machine: the open-source engine `tesseract` (Debian package `tesseract-ocr`), as it comes.
//!
//! Each number is drawn by the program, every pixel as a square, softened a little and brought to digits of 44 samples, dark on white:
//! without the softening the engine trips over staircases that no eye sees. It is given one number a line and the characters that
//! numbers are made of, and what it says must be the number to the character. Without the engine the test says so and does nothing.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use sidelight::draw::Bitmap;
use sidelight::faces::Strike;

use super::soft::{Grid, soft};
use super::{shown, strikes};

/// The height of the digits that the engine is given, in samples.
const DIGITS: f64 = 44.0;
/// White around the number, in samples.
const MARGIN: f64 = 22.0;
/// The softening: a standard deviation in pixels of the panel.
const SOFTNESS: f64 = 0.4;
/// Engines that run side by side.
const ENGINES: usize = 2;

/// From -99.9 to 199.9 in uneven steps, so that every digit comes in every place.
fn numbers() -> Vec<String> {
    (0..)
        .map(|index| -999 + 73 * index)
        .take_while(|tenths| *tenths <= 1999)
        .map(|tenths| {
            let sign = if tenths < 0 { "-" } else { "" };
            format!("{sign}{}.{}", i32::abs(tenths) / 10, i32::abs(tenths) % 10)
        })
        .collect()
}

/// A picture for the engine, in the Netpbm format PGM.
fn pgm(strike: &Strike, number: &str) -> Vec<u8> {
    let picture: Bitmap = shown(strike, number);
    let step = f64::from(strike.figure_height()) / DIGITS;
    let side = |pixels: u32| (f64::from(pixels) / step + 2.0 * MARGIN).ceil() as usize;
    let size = (side(picture.size().width), side(strike.figure_height()));
    let origin = -MARGIN * step;
    let samples = soft(&picture, SOFTNESS, Grid { origin: (origin, origin), step, size });
    let mut bytes = format!("P5 {} {} 255\n", size.0, size.1).into_bytes();
    bytes.extend(samples.iter().map(|sample| 255 - (sample * 255.0).round() as u8));
    bytes
}

/// What the engine says to each picture of a list, in the order of the list.
fn read(folder: &Path, strikes: &[Arc<Strike>], numbers: &[String]) -> Vec<String> {
    let mut list = String::new();
    for strike in strikes {
        for number in numbers {
            let path = folder.join(format!("{} {number}.pgm", strike.name()));
            std::fs::write(&path, pgm(strike, number)).unwrap();
            writeln!(list, "{}", path.display()).unwrap();
        }
    }
    let list_path = folder.join("list.txt");
    std::fs::write(&list_path, list).unwrap();
    let output = Command::new("tesseract")
        .arg(&list_path)
        .args(["-", "--psm", "7", "-c", "tessedit_char_whitelist=0123456789.-"])
        .env("OMP_THREAD_LIMIT", "1")
        .stderr(Stdio::null())
        .output()
        .unwrap();
    assert!(output.status.success(), "the engine ended with {}", output.status);
    let said = String::from_utf8(output.stdout).unwrap();
    // Each page ends with a form feed.
    let pages: Vec<String> = said.split_terminator('\u{c}').map(|page| page.trim().to_owned()).collect();
    assert_eq!(pages.len(), strikes.len() * numbers.len(), "a page for each picture");
    pages
}

/// For each strike the numbers in a hundred that are read as they are, rounded down: what version 5.3.0 of the engine reaches with its data
/// for English.
const FLOORS: [(&str, usize); 27] = [
    ("small 7", 100),
    ("text 9", 97),
    ("text 11", 100),
    ("narrow 10", 78),
    ("narrow 12", 95),
    ("narrow 14", 92),
    ("narrow 16", 100),
    ("narrow 18", 100),
    ("narrow 20", 100),
    ("narrow 22", 97),
    ("narrow 24", 95),
    ("narrow 28", 97),
    ("narrow 32", 100),
    ("narrow 40", 92),
    ("narrow 48", 95),
    ("wide 10", 95),
    ("wide 12", 97),
    ("wide 14", 100),
    ("wide 16", 100),
    ("wide 18", 100),
    ("wide 20", 100),
    ("wide 22", 100),
    ("wide 24", 100),
    ("wide 28", 97),
    ("wide 32", 97),
    ("wide 40", 100),
    ("wide 48", 100),
];

#[test]
fn a_machine_reads_the_numbers() {
    if Command::new("tesseract").arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_err() {
        // Past the test harness, which keeps to itself what a passing test prints.
        let words =
            "legibility by machine: skipped, there is no `tesseract` here; install the Debian package tesseract-ocr\n";
        std::io::stderr().write_all(words.as_bytes()).unwrap();
        return;
    }
    let (strikes, numbers) = (strikes(), numbers());
    let folder = tempfile::tempdir().unwrap();
    // Every other strike, so that both engines have large and small ones.
    let shares: Vec<Vec<Arc<Strike>>> =
        (0..ENGINES).map(|share| strikes.iter().skip(share).step_by(ENGINES).cloned().collect()).collect();
    let results: Vec<(Arc<Strike>, Vec<String>)> = std::thread::scope(|scope| {
        let engines: Vec<_> = shares
            .iter()
            .enumerate()
            .map(|(index, share)| {
                let folder = folder.path().join(index.to_string());
                std::fs::create_dir(&folder).unwrap();
                let numbers = &numbers;
                scope.spawn(move || read(&folder, share, numbers))
            })
            .collect();
        let pages = engines.into_iter().map(|engine| engine.join().unwrap());
        shares
            .iter()
            .zip(pages)
            .flat_map(|(share, pages)| {
                let said: Vec<Vec<String>> = pages.chunks(numbers.len()).map(<[String]>::to_vec).collect();
                share.iter().cloned().zip(said)
            })
            .collect()
    });
    let mut below = Vec::new();
    println!("{:10} read of {}", "strike", numbers.len());
    for strike in &strikes {
        let said = &results.iter().find(|(other, _)| Arc::ptr_eq(other, strike)).unwrap().1;
        let wrong: Vec<String> = numbers
            .iter()
            .zip(said)
            .filter(|(number, said)| number != said)
            .map(|(number, said)| format!("{number} as {said}"))
            .collect();
        let right = (numbers.len() - wrong.len()) * 100 / numbers.len();
        println!("{:10} {right:3} %  {}", strike.name(), wrong.join(", "));
        let floor = FLOORS.iter().find(|(name, _)| *name == strike.name());
        let floor = floor.unwrap_or_else(|| panic!("{}: no floor is set", strike.name())).1;
        if right < floor {
            below.push(format!("{}: {right} of {floor} %", strike.name()));
        }
    }
    assert_eq!(strikes.len(), FLOORS.len());
    assert!(below.is_empty(), "worse than before:\n{}", below.join("\n"));
}
