//! A broker that does not want this client, and panels that are not there: told in words, and tried again.

use std::fs;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::thread;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor};

#[test]
fn a_refusal_is_told_in_words_and_the_password_never() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let broker = thread::spawn(move || {
        let mut connects = Vec::new();
        // CONNACK with the return codes 4 and 5 (MQTT 3.1.1, table 3.1, from memory).
        for code in [4, 5] {
            let (mut stream, _) = listener.accept().unwrap();
            let mut bytes = [0; 512];
            let length = stream.read(&mut bytes).unwrap();
            connects.push(bytes[..length].to_vec());
            stream.write_all(&[0x20, 2, 0, code]).unwrap();
        }
        connects
    });
    let cellar = Cellar::new(DOOR);
    let secret = cellar.path("secret");
    fs::write(&secret, "geheim\n").unwrap();
    fs::set_permissions(&secret, fs::Permissions::from_mode(0o644)).unwrap();
    let mut run = cellar.run(address, &["--user", "door", "--password-file", "secret", "-v"]);
    run.says("everybody on this machine can read the password file secret; `chmod o-rwx secret` ends that");
    run.says("the broker refused the connection: wrong user name or password: check both, and the password file");
    run.says("the broker refused the connection: this client is not authorised");
    for connect in broker.join().unwrap() {
        assert!(connect.windows(6).any(|bytes| bytes == b"geheim"), "the password travels");
    }
    assert!(run.is_running() && !run.log().contains("geheim"));
}

#[test]
fn a_password_file_of_ones_own_needs_no_warning() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    fs::write(cellar.path("secret"), "geheim\n").unwrap();
    fs::set_permissions(cellar.path("secret"), fs::Permissions::from_mode(0o600)).unwrap();
    let run = cellar.run(broker.v3(), &["--user", "door", "--password-file", "secret"]);
    run.says("subscribed to");
    assert!(!run.log().contains("password file"), "{}", run.log());
}

#[test]
fn a_missing_panel_is_told_and_readings_go_on() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let more = ["--panel", "ssd1306:/nowhere/i2c-1:0x3c", "--panel", "ssd1306:/dev/null:0x3d"];
    let mut run = cellar.run(broker.v3(), &more);
    run.says(
        "ssd1306:/nowhere/i2c-1:0x3c: cannot open /nowhere/i2c-1: No such file or directory (os error 2); check that the I2C \
         bus is switched on and that this user may use it",
    );
    run.says("ssd1306:/dev/null:0x3d: cannot open /dev/null: Inappropriate ioctl for device");
    run.says("subscribed to");
    Sensor::connect(broker.v3()).publish(CLIMATE, "12.4,91.0");
    cellar.shows(&["--set", "temp=12.4", "--set", "rh=91"]);
    assert!(run.is_running());
}

#[test]
fn a_picture_that_cannot_be_written_is_told_and_tried_again() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(broker.v3(), &["--panel", "picture:attic/door.png"]);
    run.says("picture:attic/door.png: cannot write attic/door.png: No such file or directory");
    fs::create_dir(cellar.path("attic")).unwrap();
    run.says("picture:attic/door.png: shows its picture again");
    assert_eq!(fs::read(cellar.path("attic/door.png")).unwrap(), cellar.rendered(&[]));
    let names: Vec<_> = fs::read_dir(cellar.path("attic")).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["door.png"], "nothing is left over");
}
