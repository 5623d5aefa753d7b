//! A broker that changes its mind, and a name that leads nowhere at first.

use std::fs;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use super::kit::{CLIMATE, Cellar, DOOR, until};
use super::scripted::{Scripted, publication};

const GOOD: [&str; 4] = ["--set", "temp=12.4", "--set", "rh=91"];

#[test]
fn once_the_broker_knows_the_password_all_is_well() {
    let known = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&known);
    let broker = Scripted::start(move |password| {
        // Return code 4 of table 3.1 (from memory): bad user name or password.
        if asked.load(Ordering::Relaxed) && password == "geheim" { 0 } else { 4 }
    });
    let cellar = Cellar::new(DOOR);
    fs::write(cellar.path("secret"), "geheim\n").unwrap();
    let run = cellar.run(broker.address, &["--user", "door", "--password-file", "secret"]);
    run.says("wrong user name or password: check both, and the password file");
    known.store(true, Ordering::Relaxed);
    run.says("subscribed to");
    broker.send(&publication(CLIMATE, "12.4,91.0", false));
    cellar.shows(&GOOD);
    assert!(!run.log().contains("geheim"));
}

/// Both go on, each throws the other out, and they do so ever more rarely, although each connection succeeds at first.
#[test]
fn two_with_the_same_client_id_do_not_fight() {
    let broker = Scripted::start(|_| 0);
    let cellars = [Cellar::new(DOOR), Cellar::new(DOOR)];
    let runs = cellars.each_ref().map(|cellar| cellar.run(broker.address, &["--client-id", "door"]));
    thread::sleep(Duration::from_secs(7));
    let connects = broker.connects();
    eprintln!("{} connections of two clients in 7 s", connects.len());
    // Each waits 0.25 s, 0.5 s, 1 s, 2 s, 4 s, by chance a quarter less: at most six connections of each in seven seconds.
    assert!((4..=12).contains(&connects.len()), "{} connections", connects.len());
    for run in &runs {
        run.says("another client may use the same client id");
        assert!(run.log().lines().count() < 30, "{}", run.log());
    }
}

/// `/etc/hosts` is another file for this one process, so that a name comes to be known while it runs.
#[test]
fn a_name_that_leads_nowhere_at_first_is_tried_again() {
    let cellar = Cellar::new(DOOR);
    fs::write(cellar.path("hosts"), "127.0.0.1 localhost\n").unwrap();
    let bind = "mount --bind hosts /etc/hosts && exec \"$@\"";
    let apart = ["unshare", "--mount", "sh", "-c", bind, "sh"];
    let allowed = Command::new(apart[0]).args(&apart[1..]).arg("true").current_dir(cellar.folder.path()).output();
    if !allowed.is_ok_and(|ended| ended.status.success()) {
        eprintln!("left out: this user may not mount another /etc/hosts for a process");
        return;
    }
    let broker = Scripted::start(|_| 0);
    let url = format!("mqtt://broker.cellar.invalid:{}", broker.address.port());
    let run = cellar.start_in(&apart, &["run", "door.layout", "--broker", &url, "--panel", "picture:door.png"]);
    run.says("the name \"broker.cellar.invalid\" leads to no address");
    cellar.shows(&[]);
    fs::write(cellar.path("hosts"), "127.0.0.1 localhost broker.cellar.invalid\n").unwrap();
    run.says("subscribed to");
    until("the subscription", || broker.has_subscriber());
    broker.send(&publication(CLIMATE, "12.4,91.0", false));
    cellar.shows(&GOOD);
}
