//! Two faults, the second while the first is being healed.

use super::rig::{Fault, HEALED, PANELS, PERIOD, Rig, picture, session, setup};

fn seed() -> u64 {
    let given = std::env::var("SIDELIGHT_SEED").ok().map(|seed| seed.parse().expect("SIDELIGHT_SEED is a number"));
    let seed = given.unwrap_or_else(|| fastrand::u64(..));
    println!("SIDELIGHT_SEED={seed}");
    seed
}

/// Pairs of kinds and places by chance, anywhere in a session.
#[test]
fn sampled_pairs_of_faults_are_healed() {
    let mut random = fastrand::Rng::with_seed(seed());
    let bytes = PANELS.map(|panel| session(setup(panel), &[], 1).unwrap());
    for number in 0..3000 {
        let panel = number % PANELS.len();
        let first = random.u64(0..bytes[panel]);
        // Often close behind: in the same write, or in the next attempt.
        let second = first + 1 + random.u64(0..if number % 2 == 0 { 60 } else { bytes[panel] });
        let faults = [first, second].map(|byte| (byte, Fault::ALL[random.usize(..Fault::ALL.len())]));
        session(setup(PANELS[panel]), &faults, random.u64(..)).unwrap();
    }
}

/// A panel that shows a picture, an update with a fault, and a second fault up to the end of the healing.
fn short_session(faults: &[(u64, Fault)]) -> Result<(u64, u64), String> {
    let setup = setup(PANELS[0]);
    let mut rig = Rig::new(setup, faults, 1, PERIOD);
    rig.show(&picture(setup.size, 0));
    rig.run(HEALED);
    let before = rig.sent();
    let last = picture(setup.size, 1);
    rig.show(&last);
    rig.settle(&last).map_err(|problem| format!("{faults:?}: {problem}"))?;
    Ok((before, rig.sent()))
}

/// All pairs of kinds, the first at each byte of an update, the second at each byte from there to the end of the healing; on demand,
/// since there are a million of them. Otherwise each pair of kinds once at a place by chance.
#[test]
fn pairs_of_faults_in_an_update_and_its_healing_are_healed() {
    let all = std::env::var("SIDELIGHT_FAULTS").is_ok_and(|wanted| wanted == "all");
    let mut random = fastrand::Rng::with_seed(seed());
    let (first, end) = short_session(&[]).unwrap();
    let mut sessions = 0_u64;
    for one in Fault::ALL {
        for byte in first..end {
            if !all && random.u64(0..end - first) > 0 {
                continue;
            }
            let (_, healed) = short_session(&[(byte, one)]).unwrap();
            for other in Fault::ALL {
                for second in byte + 1..healed {
                    if all || random.u64(0..healed - byte) == 0 {
                        short_session(&[(byte, one), (second, other)]).unwrap();
                        sessions += 1;
                    }
                }
            }
        }
    }
    println!("{sessions} pairs of faults healed ({})", if all { "all there are" } else { "a sample" });
}
