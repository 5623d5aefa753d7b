//! What `probe` says: the table of buses, what to do next, and how to judge the test picture.
//!
//! What enters are surveys of buses; what leaves is text for a terminal. Nothing is asked or opened here.

use std::fmt::Write;
use std::io;

use crate::draw::Size;
use crate::panel::Controller;
use crate::service::Place;
use crate::service::buses::{Answer, Survey};

/// Said wherever somebody is sent to the wires.
const SAFETY: &str = "\
Panels of this kind run from 3.3 V logic; check the module before wiring, power off while wiring.
Lithium cells and mains supplies near a doorway follow local codes and a licensed person's work.
A readout is for information: it is no alarm and protects no one from gas, fire, heat or cold.
";

/// Each bus in a line, and below it what came of asking there.
pub(super) fn table(surveys: &[Survey]) -> String {
    let mut text = String::new();
    for Survey { bus, answers } in surveys {
        let _ = write!(text, "{}", bus.device.display());
        if let Some(name) = &bus.name {
            let _ = write!(text, "  {}", name.escape_debug());
        }
        let _ = match bus.clock {
            Some(hertz) => writeln!(text, "  {} kHz", hertz.div_ceil(1000)),
            None => writeln!(text),
        };
        match answers {
            Ok(answers) => {
                for (address, answer) in answers {
                    let _ = writeln!(text, "  {address:#04x}  {}", words(answer));
                }
            }
            Err(_) if !bus.has_device => text.push_str("  has no device file\n"),
            Err(problem) => {
                let _ = writeln!(text, "  cannot be opened: {problem}");
            }
        }
    }
    text
}

fn words(answer: &Answer) -> String {
    match answer {
        Answer::Yes => "answers".into(),
        Answer::Nobody => "nobody".into(),
        Answer::Held(driver) => format!("held by the kernel's driver {}", driver.escape_debug()),
        Answer::Trouble(problem) => format!("cannot be asked: {problem}"),
    }
}

/// Where somebody answers.
pub(super) fn panels(surveys: &[Survey]) -> impl Iterator<Item = (&Survey, u8)> {
    surveys.iter().flat_map(|survey| {
        let answers = survey.answers.iter().flatten();
        answers.filter(|(_, answer)| *answer == Answer::Yes).map(move |(address, _)| (survey, *address))
    })
}

/// What to do next: look at a picture, or mend what is likely wrong.
pub(super) fn next(surveys: &[Survey], offers_devices: bool) -> String {
    let mut text = String::new();
    let mut found = panels(surveys).peekable();
    if found.peek().is_some() {
        text.push_str("\nSomebody answers. To see whether it is a panel, draw a test picture there:\n");
        for (Survey { bus, .. }, address) in found {
            let _ = writeln!(text, "  sidelight probe --draw ssd1306:{}:{address:#04x}", bus.device.display());
        }
        return text;
    }
    text.push_str("\nNo panel answers. What is likely wrong:\n");
    let opened = surveys.iter().any(|survey| survey.answers.is_ok());
    let refused = surveys.iter().find_map(|Survey { bus, answers }| match answers {
        Err(problem) if problem.kind() == io::ErrorKind::PermissionDenied => Some(bus),
        _ => None,
    });
    let answers = || surveys.iter().flat_map(|survey| survey.answers.iter().flatten()).map(|(_, answer)| answer);
    if surveys.is_empty() {
        text.push_str(
            "- this machine shows no I2C bus: switch it on in the firmware's configuration (on small boards often a\n  \
             line about I2C in the device tree's configuration), and start the machine anew\n",
        );
    }
    if !offers_devices && !opened && refused.is_none() {
        text.push_str(
            "- the kernel offers no device files for buses: `sudo modprobe i2c-dev`, and so at each start:\n  \
             `echo i2c-dev | sudo tee /etc/modules-load.d/i2c.conf`\n",
        );
    }
    if let Some(bus) = refused {
        let _ = writeln!(
            text,
            "- this user may not use {}: `sudo usermod -aG i2c \"$USER\"`, then log in again",
            bus.device.display()
        );
    }
    if answers().any(|answer| matches!(answer, Answer::Held(_))) {
        text.push_str(
            "- a driver of the kernel has the panel's address: take the panel out of the device tree's configuration,\n  \
             so that this program can have it\n",
        );
    }
    if answers().any(|answer| matches!(answer, Answer::Trouble(_))) {
        text.push_str(
            "- a bus that cannot be asked is held by something, or its adapter takes no plain I2C: look for SDA or SCL\n  \
             shorted to ground, a missing pull-up, or choose another bus\n",
        );
    }
    if opened {
        text.push_str(
            "- wiring: ground, supply, SDA to SDA, SCL to SCL, and on the pins of the bus that is asked here\n\
             - address: some modules have a jumper for 0x3d, and some print the address twice as large: 0x78 is 0x3c,\n  \
             0x7a is 0x3d (common practice)\n\
             - a module for SPI, which has more pins and does not answer on I2C\n",
        );
    }
    text.push('\n');
    text.push_str(SAFETY);
    text
}

/// How to judge the test picture, and what to do.
pub(super) fn of_test_picture(place: &Place, size: Size, rotated: bool) -> String {
    let mut text = format!(
        "{place} has the test picture of {}x{}{}.\n\n",
        size.width,
        size.height,
        if rotated { ", rotated" } else { "" }
    );
    let Place::Bus { controller, device, address } = place else { return text };
    let turn = if rotated { "leave out `--rotated`" } else { "add `--rotated`" };
    let _ = write!(
        text,
        "A closed line along all four edges, 1 and 2 on top, 3 and 4 below: all is well, use this panel as\n  \
         {place}\n\
         Otherwise:\n\
         - upside down, 4 at the top left: {turn}, here and with `run`\n"
    );
    let (other, looks) = match controller {
        Controller::Ssd1306 => ("sh1106", "noise, or the picture shifted by two columns"),
        Controller::Sh1106 => ("ssd1306", "dark, or the picture shifted by two columns"),
    };
    let _ = writeln!(
        text,
        "- {looks}: the other controller:\n  sidelight probe --draw {other}:{}:{address:#04x} --size 128x64",
        device.display()
    );
    if *controller == Controller::Ssd1306 {
        let (looks, other) = match size.height {
            32 => ("tall, with every other row dark", "128x64"),
            _ => ("squeezed, with every other row missing", "128x32"),
        };
        let _ = writeln!(text, "- {looks}: the other size:\n  sidelight probe --draw {place} --size {other}");
    }
    text.push_str(
        "- mirrored figures: the glass is wired in a way that this program does not know; no setting mends that\n\
         - dark whatever the setting, though it answers: its supply; check what the module wants\n",
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::service::buses::BusThere;

    fn survey(number: u32, answers: io::Result<Vec<(u8, Answer)>>) -> Survey {
        let bus = BusThere {
            number,
            name: Some("adapter".into()),
            clock: Some(400_000),
            device: format!("/dev/i2c-{number}").into(),
            has_device: true,
        };
        Survey { bus, answers }
    }

    fn all(surveys: &[Survey], offers_devices: bool) -> String {
        table(surveys) + &next(surveys, offers_devices)
    }

    #[test]
    fn who_answers_is_named_with_the_command_that_draws_there() {
        let told = all(&[survey(1, Ok(vec![(0x3c, Answer::Nobody), (0x3d, Answer::Yes)]))], true);
        assert_eq!(
            told,
            "/dev/i2c-1  adapter  400 kHz\n  0x3c  nobody\n  0x3d  answers\n\nSomebody answers. To see whether it is a \
             panel, draw a test picture there:\n  sidelight probe --draw ssd1306:/dev/i2c-1:0x3d\n"
        );
    }

    /// Each cause has its advice, no other cause's, and the safety words.
    #[test]
    fn each_cause_has_its_advice() {
        let advice = [
            "shows no I2C bus",
            "modprobe i2c-dev",
            "usermod -aG i2c",
            "driver of the kernel",
            "cannot be asked is",
            "- wiring",
        ];
        let mut missing = survey(1, Err(io::ErrorKind::NotFound.into()));
        missing.bus.has_device = false;
        let answers = |answer| survey(1, Ok(vec![(0x3c, answer)]));
        for (surveys, offers, expected) in [
            (vec![], true, &[0][..]),
            (vec![], false, &[0, 1]),
            (vec![missing], false, &[1]),
            (vec![survey(1, Err(io::ErrorKind::PermissionDenied.into()))], true, &[2]),
            (vec![answers(Answer::Nobody)], true, &[5]),
            (vec![answers(Answer::Held("ssd1307fb".into()))], true, &[3, 5]),
            (vec![answers(Answer::Trouble("the bus is held".into()))], true, &[4, 5]),
        ] {
            let told = all(&surveys, offers);
            let given: Vec<usize> = (0..advice.len()).filter(|which| told.contains(advice[*which])).collect();
            assert_eq!(given, expected, "{told}");
            assert!(told.ends_with(SAFETY), "{told}");
        }
    }

    #[test]
    fn the_way_out_of_a_wrong_controller_is_the_other_one_at_the_same_place() {
        let place = |text: &str| text.parse::<Place>().unwrap();
        let told = of_test_picture(&place("ssd1306:/dev/i2c-1:0x3d"), Size::new(128, 32), false);
        assert!(told.contains("  sidelight probe --draw sh1106:/dev/i2c-1:0x3d --size 128x64\n"), "{told}");
        assert!(told.contains("  sidelight probe --draw ssd1306:/dev/i2c-1:0x3d --size 128x64\n"), "{told}");
        let told = of_test_picture(&place("sh1106:/dev/i2c-1"), Size::new(128, 64), true);
        assert!(told.contains("  sidelight probe --draw ssd1306:/dev/i2c-1:0x3c --size 128x64\n"), "{told}");
        assert!(told.contains("leave out `--rotated`") && !told.contains("the other size"), "{told}");
    }
}
