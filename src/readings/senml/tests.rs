//! Packs of RFC 8428, section 5.1, and what must not be taken for one. The figures of the examples are the document's; where the
//! wording of a record is left out of the published check values, it is from memory.

use ciborium::Value;
use proptest::prelude::*;

use super::super::pack::records;
use super::super::{Pick, PickError};
use super::*;

fn unit(symbol: &str) -> Unit {
    if symbol.is_empty() { Unit::BARE } else { units::lookup(symbol).unwrap() }
}

fn sample(name: &str, symbol: &str, payload: &[u8]) -> Result<Sample, String> {
    Pick::senml(name, unit(symbol), false).unwrap().sample(payload).map_err(|error| error.to_string())
}

/// The number of that name in `pack`, which is the same from JSON and from CBOR.
fn value(name: &str, symbol: &str, pack: &str) -> Result<f64, String> {
    let found = sample(name, symbol, pack.as_bytes());
    match (&found, sample(name, symbol, &cbor(pack))) {
        // Only the JSON parser also says where.
        (Err(json), Err(cbor)) => assert!(json.starts_with(&cbor), "{json}, {cbor}"),
        (json, cbor) => assert_eq!(*json, cbor, "{pack}"),
    }
    found.map(|sample| sample.value)
}

/// The same pack in CBOR, with the labels of table 4.
fn cbor(pack: &str) -> Vec<u8> {
    let label = |text: &str| match text {
        "bver" => Value::from(-1),
        "bn" => Value::from(-2),
        "bt" => Value::from(-3),
        "bu" => Value::from(-4),
        "bv" => Value::from(-5),
        "bs" => Value::from(-6),
        "n" => Value::from(0),
        "u" => Value::from(1),
        "v" => Value::from(2),
        "vs" => Value::from(3),
        "vb" => Value::from(4),
        "s" => Value::from(5),
        "t" => Value::from(6),
        "ut" => Value::from(7),
        "vd" => Value::from(8),
        other => Value::from(other),
    };
    let records: Vec<serde_json::Map<String, serde_json::Value>> = serde_json::from_str(pack).unwrap();
    let member = |(name, value): &(&String, &serde_json::Value)| (label(name), Value::serialized(value).unwrap());
    let record = |record: &serde_json::Map<_, _>| Value::Map(record.iter().map(|pair| member(&pair)).collect());
    let mut bytes = Vec::new();
    ciborium::into_writer(&Value::Array(records.iter().map(record).collect()), &mut bytes).unwrap();
    bytes
}

const ONE: &str = r#"[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]"#;

const SERIES: &str = r#"[
    {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
    {"n":"current","t":-5,"v":1.2},
    {"n":"current","t":-4,"v":1.3},
    {"n":"current","t":-3,"v":1.4},
    {"n":"current","t":-2,"v":1.5},
    {"n":"current","t":-1,"v":1.6},
    {"n":"current","v":1.7}
]"#;

const WALK: &str = r#"[
    {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
    {"u":"lon","v":24.30621},
    {"u":"lat","v":60.07965},
    {"t":60,"v":20.3},
    {"u":"lon","t":60,"v":24.30622},
    {"u":"lat","t":60,"v":60.07965}
]"#;

// RFC 8428, section 5.1.1.
#[test]
fn a_single_number() {
    let name = "urn:dev:ow:10e2073a01080063";
    assert_eq!(value(name, "°C", ONE), Ok(23.1));
    let fahrenheit = value(name, "°F", ONE).unwrap();
    assert!((fahrenheit - 73.58).abs() < 1e-9, "{fahrenheit}");
    let unlike = |wanted| Err(format!("the record \"{name}\" is in \"Cel\", which cannot be given in {wanted}"));
    assert_eq!(value(name, "%", ONE), unlike("%"));
    assert_eq!(value(name, "", ONE), unlike("a bare number"));
    assert_eq!(value("urn:dev:ow", "°C", ONE), Err("found no record \"urn:dev:ow\" in the SenML pack".into()));
}

// RFC 8428, section 5.1.2, both packs.
#[test]
fn several_numbers_and_the_newest_of_a_series() {
    let two =
        r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]"#;
    assert_eq!(value("urn:dev:ow:10e2073a01080063:voltage", "V", two), Ok(120.1));
    assert_eq!(value("urn:dev:ow:10e2073a01080063:current", "mA", two), Ok(1200.0));
    assert_eq!(value("urn:dev:ow:10e2073a0108006:current", "A", SERIES), Ok(1.7));
    assert_eq!(value("urn:dev:ow:10e2073a0108006:voltage", "V", SERIES), Ok(120.1));
    // The order within the pack does not count, time does.
    let shuffled = r#"[{"bn":"a","bt":1276020076,"bu":"A","t":-1,"v":1.6},{"v":1.7},{"t":-5,"v":1.2}]"#;
    assert_eq!(value("a", "A", shuffled), Ok(1.7));
}

// RFC 8428, section 5.1.3 (its first two times): one name with a humidity and a place.
#[test]
fn of_one_name_those_count_that_measure_the_same() {
    let name = "urn:dev:ow:10e2073a01080063";
    assert_eq!(value(name, "%", WALK), Ok(20.3));
    let error = value(name, "°C", WALK).unwrap_err();
    assert!(error.ends_with("which cannot be given in °C"), "{error}");
}

// RFC 8428, section 5.1.4: the same, resolved.
#[test]
fn resolved_records_read_alike() {
    let name = "urn:dev:ow:10e2073a01080063";
    let resolved = format!(
        r#"[{{"n":"{name}","u":"%RH","t":1.320067464e+09,"v":20}},
            {{"n":"{name}","u":"lon","t":1.320067464e+09,"v":24.30621}},
            {{"n":"{name}","u":"lat","t":1.320067464e+09,"v":60.07965}},
            {{"n":"{name}","u":"%RH","t":1.320067524e+09,"v":20.3}},
            {{"n":"{name}","u":"lon","t":1.320067524e+09,"v":24.30622}},
            {{"n":"{name}","u":"lat","t":1.320067524e+09,"v":60.07965}}]"#
    );
    assert_eq!(value(name, "%", &resolved), value(name, "%", WALK));
}

// RFC 8428, section 5.1.5: values of several kinds.
#[test]
fn only_numbers_and_truths_are_numbers() {
    let pack = r#"[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
        {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]"#;
    let of = |name: &str, symbol| value(&format!("urn:dev:ow:10e2073a01080063:{name}"), symbol, pack);
    assert_eq!(of("temp", "°C"), Ok(23.1));
    assert_eq!(of("open", ""), Ok(0.0));
    assert!(of("label", "").unwrap_err().ends_with("found a text"));
    assert!(of("nfc-reader", "").unwrap_err().ends_with("found data"));
    assert!(of("open", "°C").unwrap_err().ends_with("found true or false, which have no unit"));
}

// RFC 8428, section 5.1.6: a new base name.
#[test]
fn a_later_base_takes_the_place_of_the_first() {
    let pack = r#"[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
        {"n":"humidity","u":"%RH","v":30},
        {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
        {"n":"humidity","u":"%RH","v":67}]"#;
    for (name, symbol, wanted) in [
        ("2001:db8::2/temperature", "°C", 25.2),
        ("2001:db8::2/humidity", "%", 30.0),
        ("2001:db8::1/temperature", "°C", 12.3),
        ("2001:db8::1/humidity", "%", 67.0),
    ] {
        assert_eq!(value(name, symbol, pack), Ok(wanted));
    }
}

/// RFC 8428, section 6: the second pack of section 5.1.2 in CBOR, as the document prints it, octet for octet.
const PRINTED: &str = "\
    87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b001062236141200500\
    67766f6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333\
    a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666\
    a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999999a\
    a3006763757272656e74060002fb3ffb333333333333";

#[test]
fn the_pack_that_the_standard_prints_in_cbor() {
    let pair = |pair: &[u8]| u8::from_str_radix(str::from_utf8(pair).unwrap(), 16).unwrap();
    let pack: Vec<u8> = PRINTED.as_bytes().chunks(2).map(pair).collect();
    for (name, symbol) in [("voltage", "V"), ("current", "A")] {
        let name = format!("urn:dev:ow:10e2073a0108006:{name}");
        assert_eq!(sample(&name, symbol, &pack), sample(&name, symbol, SERIES.as_bytes()), "{name}");
    }
    assert_eq!(value("urn:dev:ow:10e2073a0108006:current", "A", SERIES), Ok(1.7));
}

#[test]
fn arrays_and_maps_of_indefinite_length() {
    let pack: Vec<u8> = [&[0x81, 0xa3, 0x00, 0x61, b'a', 0x01, 0x63][..], b"Cel", &[0x02, 0x17]].concat();
    assert_eq!(sample("a", "°C", &pack).map(|sample| sample.value), Ok(23.0));
    let pack: Vec<u8> = [&[0x9f, 0xbf, 0x00, 0x61, b'a', 0x01, 0x63][..], b"Cel", &[0x02, 0x17, 0xff, 0xff]].concat();
    assert_eq!(sample("a", "°C", &pack).map(|sample| sample.value), Ok(23.0));
}

// RFC 8428, section 6, allows decimal fractions (RFC 8949, section 3.4.4: 273.15 is c4 82 21 19 6ab3).
#[test]
fn cbor_numbers_of_each_kind() {
    let with = |number: &[u8]| [&[0x81, 0xa2, 0x00, 0x61, b'a', 0x02][..], number].concat();
    for (number, wanted) in [
        (&[0xc4, 0x82, 0x21, 0x19, 0x6a, 0xb3][..], 273.15),
        (&[0x38, 0x63], -100.0),
        (&[0xf9, 0x3e, 0x00], 1.5),
        (&[0xfa, 0x47, 0xc3, 0x50, 0x00], 100_000.0),
    ] {
        assert_eq!(sample("a", "", &with(number)).map(|sample| sample.value), Ok(wanted));
    }
    for number in
        [&[0xf9, 0x7e, 0x00][..], &[0xf9, 0x7c, 0x00], &[0xc4, 0x01], &[0xc4, 0x82, 0x1a, 0x7f, 0xff, 0xff, 0xff, 0x01]]
    {
        assert!(sample("a", "", &with(number)).is_err(), "{number:x?}");
    }
}

#[test]
fn bases_and_sums() {
    let pack = r#"[{"bn":"meter/","bu":"W","bv":100,"bs":3600000,"n":"power","v":20.5,"s":36000},{"n":"pump","u":"W","v":-40}]"#;
    assert_eq!(value("meter/power", "W", pack), Ok(120.5));
    assert_eq!(value("meter/pump", "W", pack), Ok(60.0));
    let sum = |name, symbol| Pick::senml(name, unit(symbol), true).unwrap().decode(pack.as_bytes());
    // Watts over time are joules: 3,636,000 J are 1.01 kWh. Without a sum of its own the base sum stands.
    assert_eq!(sum("meter/power", "kWh"), Ok(1.01));
    assert_eq!(sum("meter/pump", "J"), Ok(3_600_000.0));
    let error = sum("meter/power", "W").unwrap_err().to_string();
    assert_eq!(error, "the record \"meter/power\" is in \"W\" times a second, which cannot be given in W");
}

#[test]
fn units_are_those_of_the_registry() {
    for (symbol, wanted, number) in [("%", "%", 20.0), ("%RH", "%", 0.2), ("/", "%", 20.0), ("%", "", 0.2)] {
        assert_eq!(value("a", wanted, &format!(r#"[{{"n":"a","u":"{symbol}","v":0.2}}]"#)), Ok(number), "{symbol}");
    }
    assert_eq!(value("a", "°C", r#"[{"n":"a","v":12.4}]"#), Ok(12.4), "without a unit it is the reading's");
    let error = value("a", "°C", r#"[{"n":"a","u":"furlong","v":12.4}]"#).unwrap_err();
    assert_eq!(error, "the record \"a\" is in \"furlong\", which cannot be given in °C");
}

#[test]
fn ages_come_from_relative_times() {
    let age = |pack: &str| sample("a", "", pack.as_bytes()).map(|sample| sample.age.as_secs_f64());
    assert_eq!(age(r#"[{"n":"a","v":1}]"#), Ok(0.0));
    assert_eq!(age(r#"[{"n":"a","v":1,"t":-30.5}]"#), Ok(30.5));
    assert_eq!(age(r#"[{"n":"a","bt":-60,"v":1,"t":45}]"#), Ok(15.0));
    assert_eq!(age(r#"[{"n":"a","v":1,"bt":1320067464}]"#), Ok(0.0));
    assert_eq!(age(r#"[{"n":"a","v":1,"t":-1e300}]"#), Ok(Duration::MAX.as_secs_f64()));
    // What is to come is no reading.
    assert_eq!(value("a", "", r#"[{"n":"a","v":1},{"n":"a","v":2,"t":60}]"#), Ok(1.0));
    assert!(age(r#"[{"n":"a","v":1,"t":60}]"#).is_err());
}

#[test]
fn labels_that_must_be_known_and_versions_that_are_newer() {
    assert_eq!(value("a", "", r#"[{"n":"a","v":1,"ut":5,"note":{"deep":[1,"x",null,true]}}]"#), Ok(1.0));
    for (pack, reason) in [
        (r#"[{"n":"a","v":1,"gain_":2}]"#, "a label that ends in _ and is not known here"),
        (r#"[{"bver":11,"n":"a","v":1}]"#, "version 11.0, and 10 is the latest known"),
        (r#"[{"bver":0.5,"n":"a","v":1}]"#, "version 0.5, and 10 is the latest known"),
        (r#"[{"n":"a","v":"1"}]"#, "expected a number where SenML has one"),
        (r#"[{"n":1,"v":1}]"#, "expected a text where SenML has one"),
        (r#"[{"n":"a","vb":1}]"#, "expected true or false as a boolean value"),
    ] {
        let error = value("a", "", pack).unwrap_err();
        assert!(error.starts_with(&format!("expected SenML, found {reason}")), "{error}");
    }
    assert!(value("a", "", r#"[{"bver":10,"n":"a","v":1}]"#).is_ok());
}

#[test]
fn what_is_no_pack_says_so() {
    for (payload, said) in [
        (&b""[..], "the payload is empty"),
        (b" \n\0", "the payload is empty"),
        (b"[{\"n\":\"a\",\"v\":1}]\0", ""),
        (b"[{\"n\":\"a\",\"v\":1}] x", "expected SenML, found trailing characters at line 1 column 19"),
        (b"{\"n\":\"a\"}", "expected SenML, found invalid type: map, expected an array of records at line 1 column 0"),
        (
            b"12.4",
            "expected SenML, found invalid type: floating point `12.4`, expected an array of records at line 1 column 4",
        ),
        (b"[]", "found no record \"a\" in the SenML pack"),
        (b"\x80\x00", "expected SenML, found more bytes after the pack"),
        (b"\x81", "expected SenML, found CBOR that ends too early"),
        (b"\x81\xa1\xff", "expected SenML, found invalid type: break, expected non-break"),
    ] {
        let found = sample("a", "", payload);
        assert_eq!(found.err().unwrap_or_default(), said, "{payload:?}");
    }
    for name in ["", "/a", "_a", "a b", "a%", "ä"] {
        let refused = PickError::SenmlName { name: name.into() };
        assert_eq!(Pick::senml(name, Unit::BARE, false), Err(refused));
    }
}

#[test]
fn packs_are_bounded() {
    let pack = |count| format!("[{}]", vec![r#"{"n":"a","v":1}"#; count].join(","));
    assert!(sample("a", "", pack(1000).as_bytes()).is_ok());
    assert!(sample("a", "", pack(1001).as_bytes()).unwrap_err().contains("more than 1000 records"));
    let deep = [vec![0x81; 40], vec![0x00]].concat();
    let in_a_record = [&[0x81, 0xa1, 0x61, b'x'][..], &deep].concat();
    assert_eq!(records(&in_a_record).unwrap_err(), "CBOR of more than 32 levels");
    // Lengths of 2^62 are not believed: array, map, text, bytes.
    let huge = [0x40, 0, 0, 0, 0, 0, 0, 0];
    for head in
        [&[0x9b][..], &[0x81, 0xbb], &[0x81, 0xa1, 0x00, 0x7b], &[0x81, 0xa1, 0x08, 0x5b], &[0x81, 0xa1, 0x02, 0x9b]]
    {
        assert!(records(&[head, &huge].concat()).is_err());
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![-1000.0..1000.0f64, proptest::num::f64::NORMAL, (-10..10i32).prop_map(f64::from)]
}

proptest! {
    #[test]
    fn no_bytes_do_harm(bytes in proptest::collection::vec(any::<u8>(), 0..200), head in 0..3usize) {
        let head = [&[][..], &[0x81, 0xa2, 0x00, 0x61, b'a', 0x02], b"[{\"n\":\"a\",\"v\":"][head];
        let payload = [head, &bytes].concat();
        match sample("a", "°C", &payload) {
            Ok(sample) => prop_assert!(sample.value.is_finite()),
            Err(error) => prop_assert!(error.len() < 1000),
        }
    }

    #[test]
    fn a_damaged_pack_does_no_harm(place in 0..400usize, byte in any::<u8>(), length in 0..400usize) {
        for mut pack in [cbor(SERIES), cbor(WALK), SERIES.as_bytes().to_vec()] {
            let place = place % pack.len();
            pack[place] = byte;
            pack.truncate(length.max(1));
            if let Ok(sample) = sample("urn:dev:ow:10e2073a0108006:current", "A", &pack) {
                prop_assert!(sample.value.is_finite());
            }
        }
    }

    #[test]
    fn what_is_resolved_is_the_sum_of_base_and_record(
        base in number(), own in number(), before in -1e6..0.0f64, after in 0.0..1e5f64,
    ) {
        let pack = serde_json::json!([{"bn": "a/", "bt": before, "bv": base}, {"n": "b", "t": -after, "v": own}]).to_string();
        let (json, cbor) = (sample("a/b", "", pack.as_bytes()), sample("a/b", "", &cbor(&pack)));
        prop_assert_eq!(&json, &cbor);
        match json {
            Ok(sample) => {
                prop_assert_eq!(sample.value, base + own);
                prop_assert!((sample.age.as_secs_f64() - (after - before)).abs() < 1e-6);
            }
            Err(_) => prop_assert!(!(base + own).is_finite()),
        }
    }
}
