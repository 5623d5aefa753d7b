//! What is published is what is to be seen, to the bit, and what is not known looks like it.

use std::fs;
use std::time::Duration;

use sidelight::demo::Broker;

use super::kit::{CLIMATE, Cellar, DOOR, Sensor, until};

const GOOD: [&str; 4] = ["--set", "temp=12.4", "--set", "rh=91"];
const STALE: [&str; 8] = ["--set", "temp=12.4", "--set", "rh=91", "--state", "temp=stale", "--state", "rh=stale"];

#[test]
fn the_panel_shows_what_render_draws() {
    let broker = Broker::start().unwrap();
    for (address, protocol) in [(broker.v3(), "3.1.1"), (broker.v5(), "5")] {
        for qos in ["0", "1"] {
            let cellar = Cellar::new(DOOR);
            let run = cellar.run(address, &["--protocol", protocol, "--qos", qos]);
            run.says("subscribed to cellar/ripening/climate");
            cellar.shows(&[]);
            let mut sensor = Sensor::connect(broker.v3());
            let wanted = cellar.rendered(&GOOD);
            sensor.publish(CLIMATE, "12.4,91.0");
            let took = cellar.shows_png(&wanted);
            eprintln!("MQTT {protocol}, QoS {qos}: from publishing to the picture file in {took:?}");
            sensor.publish(CLIMATE, "12.4,err");
            cellar.shows(&["--set", "temp=12.4", "--state", "rh=faulty"]);
            run.says("door.layout: rh is faulty: expected a number in column 2, found \"err\"");
        }
    }
}

#[test]
fn silence_turns_a_reading_stale_and_the_broker_may_come_back() {
    let broker = Broker::start().unwrap();
    let (ports, address) = (broker.ports(), broker.v3());
    let cellar = Cellar::new(&DOOR.replace("stale: 45s", "stale: 1s"));
    let run = cellar.run(address, &[]);
    run.says("subscribed to");
    let (good, stale) = (cellar.rendered(&GOOD), cellar.rendered(&STALE));
    Sensor::connect(address).publish(CLIMATE, "12.4,91.0");
    cellar.shows_png(&good);
    let took = cellar.shows_png(&stale);
    eprintln!("stale after {took:?}, asked for 1 s");
    assert!(took > Duration::from_millis(500), "a second has to pass: {took:?}");
    drop(broker);
    run.says(&format!("nothing listens at mqtt://{address}"));
    assert_eq!(fs::read(cellar.path("door.png")).unwrap(), stale);
    let _broker = Broker::start_on(ports).unwrap();
    until("two connections", || run.log().matches("subscribed to").count() == 2);
    Sensor::connect(address).publish(CLIMATE, "12.4,91.0");
    cellar.shows(&GOOD);
}

#[test]
fn a_broker_that_is_not_there_yet_is_waited_for() {
    let broker = Broker::start().unwrap();
    let (ports, address) = (broker.ports(), broker.v3());
    drop(broker);
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(address, &[]);
    run.says(&format!("nothing listens at mqtt://{address}: check that the broker runs and that the port is right"));
    cellar.shows(&[]);
    let _broker = Broker::start_on(ports).unwrap();
    run.says("subscribed to");
}

#[test]
fn a_retained_message_is_of_unknown_age() {
    let broker = Broker::start().unwrap();
    Sensor::connect(broker.v3()).publish_retained(CLIMATE, "12.4,91.0");
    let cellar = Cellar::new(DOOR);
    let run = cellar.run(broker.v3(), &[]);
    cellar.shows(&STALE);
    run.says("temp is stale: kept by the broker, nobody knows for how long");
}

#[test]
fn several_panels_show_several_layouts_over_one_connection() {
    let broker = Broker::start().unwrap();
    let cellar = Cellar::new(DOOR);
    let brine = "panel 128x64\nreading t from: \"cellar/brine/climate\" pick: column(1) unit: °C range: 0..20\n\
                 screen s { text \"{t:.1}°\" size: fit }\n";
    fs::write(cellar.path("brine.layout"), brine).unwrap();
    let config = format!(
        "[broker]\nurl = \"mqtt://{}\"\nclient-id = \"cellar\"\n\
         [[panel]]\nplace = \"picture:door.png\"\nlayout = \"door.layout\"\n\
         [[panel]]\nplace = \"picture:door2.png\"\nlayout = \"door.layout\"\nrotated = true\n\
         [[panel]]\nplace = \"picture:brine.png\"\nlayout = \"brine.layout\"\n",
        broker.v3()
    );
    fs::write(cellar.path("sidelight.toml"), config).unwrap();
    // Paths begin where the file lies, wherever the program was started.
    let elsewhere = Cellar::new("");
    let run = elsewhere.start(&["run", "--config", cellar.path("sidelight.toml").to_str().unwrap()]);
    run.says("subscribed to cellar/ripening/climate, cellar/brine/climate");
    let mut sensor = Sensor::connect(broker.v3());
    sensor.publish(CLIMATE, "12.4,91.0");
    sensor.publish("cellar/brine/climate", "11.2,82.0");
    cellar.shows(&GOOD);
    let upright = sidelight::draw::picture::from_png(&fs::read(cellar.path("door.png")).unwrap()).unwrap();
    until("the picture upside down", || {
        let turned =
            fs::read(cellar.path("door2.png")).ok().and_then(|png| sidelight::draw::picture::from_png(&png).ok());
        turned.is_some_and(|turned| {
            let points = (0..128).flat_map(|x| (0..32).map(move |y| (x, y)));
            let at = sidelight::draw::Point::new;
            points.into_iter().all(|(x, y)| turned.pixel(at(x, y)) == upright.pixel(at(127 - x, 31 - y)))
        })
    });
    fs::copy(cellar.path("brine.layout"), cellar.path("door.layout")).unwrap();
    let wanted = cellar.rendered(&["--set", "t=11.2"]);
    until("the brine's picture", || fs::read(cellar.path("brine.png")).is_ok_and(|png| png == wanted));
}
