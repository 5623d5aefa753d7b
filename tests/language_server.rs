//! `language-server` as an editor has it: the real program, and the Language Server Protocol 3.17 over its pipes.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// Longer than any answer takes; what has not come by then is missing.
const PATIENCE: Duration = Duration::from_secs(60);
const DOOR: &str = "file:///cellar/door.layout";
/// Characters of one and of two units of UTF-16 stand before places that are asked about.
const LAYOUT: &str = r#"# 🧀 Beside the ripening-room door: °, µ.
panel 128x32
reading temp from: "cellar/🧀/climate" pick: column(1) unit: °C range: -10..40
reading rh from: "cellar/ripening/climate" pick: column(2) unit: % range: 0..100
value dew = dew_point(temp, rh)
screen door {
  text "µ° {temp:.1}° {rh:.0}" size: 9
  text "{dew:.1}" size: 9
}
"#;

/// The layout with a character of two units also before its fields. No face has it, so that this one has a finding.
fn cheesy() -> String {
    LAYOUT.replace("µ° ", "µ° 🧀 ")
}

/// The protocol's numbers for errors.
const NOT_INITIALIZED: i64 = -32002;
const METHOD_NOT_FOUND: i64 = -32601;
const INVALID_PARAMS: i64 = -32602;
const REQUEST_FAILED: i64 = -32803;

struct Editor {
    child: Child,
    input: ChildStdin,
    output: Receiver<Value>,
    /// What was told without being asked for.
    told: Vec<Value>,
    encoding: String,
    asked: i64,
}

impl Editor {
    fn start() -> Self {
        let mut child = server().spawn().unwrap();
        let (sender, output) = channel();
        let mut from = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || {
            while let Some(message) = read(&mut from) {
                if sender.send(message).is_err() {
                    return;
                }
            }
        });
        let input = child.stdin.take().unwrap();
        Self { child, input, output, told: Vec::new(), encoding: String::new(), asked: 0 }
    }

    /// A conversation that has begun, with these encodings offered.
    fn talking(encodings: &[&str]) -> Self {
        let mut editor = Self::start();
        let general = match encodings {
            [] => json!({}),
            _ => json!({ "positionEncodings": encodings }),
        };
        let item = json!({ "completionItem": { "snippetSupport": true } });
        let capabilities = json!({ "general": general, "textDocument": { "completion": item } });
        let answer =
            editor.ask("initialize", json!({ "processId": null, "rootUri": null, "capabilities": capabilities }));
        editor.encoding = answer.unwrap()["capabilities"]["positionEncoding"].as_str().unwrap().to_string();
        editor.tell("initialized", json!({}));
        editor
    }

    /// A conversation about one text.
    fn with(text: &str) -> Self {
        let mut editor = Self::talking(&[]);
        editor.open(DOOR, text);
        editor
    }

    fn send(&mut self, message: &Value) {
        let body = message.to_string();
        write!(self.input, "Content-Length: {}\r\n\r\n{body}", body.len()).unwrap();
        self.input.flush().unwrap();
    }

    fn tell(&mut self, method: &str, params: Value) {
        self.send(&json!({ "jsonrpc": "2.0", "method": method, "params": params }));
    }

    /// The answer to a request, or the number and the words of an error.
    fn ask(&mut self, method: &str, params: Value) -> Result<Value, (i64, String)> {
        self.asked += 1;
        let id = self.asked;
        self.send(&json!({ "jsonrpc": "2.0", "id": id, "method": method, "params": params }));
        loop {
            let mut message = self.next();
            if message["id"] != json!(id) {
                self.told.push(message);
                continue;
            }
            return match message.get("error") {
                Some(error) => Err((error["code"].as_i64().unwrap(), error["message"].as_str().unwrap().to_string())),
                None => Ok(message["result"].take()),
            };
        }
    }

    fn next(&self) -> Value {
        self.output.recv_timeout(PATIENCE).expect("an answer")
    }

    fn open(&mut self, uri: &str, text: &str) {
        let document = json!({ "uri": uri, "languageId": "sidelight", "version": 1, "text": text });
        self.tell("textDocument/didOpen", json!({ "textDocument": document }));
    }

    fn change(&mut self, version: i32, changes: Value) {
        let params = json!({ "textDocument": { "uri": DOOR, "version": version }, "contentChanges": changes });
        self.tell("textDocument/didChange", params);
    }

    /// The findings that were told about a version of the text.
    fn findings(&mut self, version: i32) -> Vec<Value> {
        loop {
            let message = if self.told.is_empty() { self.next() } else { self.told.remove(0) };
            let params = &message["params"];
            if message["method"] == "textDocument/publishDiagnostics" && params["version"] == json!(version) {
                assert_eq!(params["uri"], DOOR);
                return params["diagnostics"].as_array().unwrap().clone();
            }
        }
    }

    /// The place of the byte `offset`.
    fn position(&self, text: &str, offset: usize) -> Value {
        let before = &text[..offset];
        let line = before.rsplit('\n').next().unwrap();
        let character = match self.encoding.as_str() {
            "utf-8" => line.len(),
            "utf-16" => line.encode_utf16().count(),
            other => panic!("{other}"),
        };
        json!({ "line": before.matches('\n').count(), "character": character })
    }

    /// The answer about the place `behind` bytes after `part`.
    fn ask_at(&mut self, method: &str, text: &str, part: &str, behind: usize) -> Result<Value, (i64, String)> {
        let position = self.position(text, text.find(part).expect("the part") + behind);
        self.ask(
            method,
            json!({ "textDocument": { "uri": DOOR }, "position": position, "context": { "includeDeclaration": true } }),
        )
    }

    /// What a range holds.
    fn slice<'a>(&self, text: &'a str, range: &Value) -> &'a str {
        let offset = |position: &Value| {
            let places = text.char_indices().map(|(at, _)| at).chain([text.len()]);
            places.into_iter().find(|at| self.position(text, *at) == *position).expect("a place in the text")
        };
        &text[offset(&range["start"])..offset(&range["end"])]
    }

    /// The text after edits.
    fn edited(&self, text: &str, edits: &Value) -> String {
        let mut places: Vec<(usize, usize, &str)> = Vec::new();
        for edit in edits.as_array().unwrap() {
            let old = self.slice(text, &edit["range"]);
            let start = old.as_ptr() as usize - text.as_ptr() as usize;
            places.push((start, start + old.len(), edit["newText"].as_str().unwrap()));
        }
        places.sort_unstable();
        let mut out = text.to_string();
        for (start, end, new) in places.into_iter().rev() {
            out.replace_range(start..end, new);
        }
        out
    }

    /// The exit code after the input ended.
    fn end(self) -> i32 {
        let Self { mut child, input, .. } = self;
        drop(input);
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            if let Some(status) = child.try_wait().unwrap() {
                return status.code().expect("a code");
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        child.kill().unwrap();
        panic!("it did not end");
    }
}

fn server() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sidelight"));
    command.arg("language-server").stdin(Stdio::piped()).stdout(Stdio::piped());
    command
}

fn read(from: &mut impl BufRead) -> Option<Value> {
    let mut length = 0;
    loop {
        let mut line = String::new();
        if from.read_line(&mut line).ok()? == 0 {
            return None;
        }
        match line.trim_end() {
            "" => break,
            line => length = line.strip_prefix("Content-Length: ").expect("one line of head").parse().unwrap(),
        }
    }
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    Some(serde_json::from_slice(&body).expect("JSON"))
}

/// What a verb makes of an input.
fn run(arguments: &[&str], input: &[u8]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sidelight"));
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    // It may end before it has read all.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

/// Whether `sidelight check` finds nothing, not even a warning.
fn checks_clean(text: &str) -> bool {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("door.layout");
    std::fs::write(&file, text).unwrap();
    run(&["check", file.to_str().unwrap()], b"").status.success()
}

fn labels(items: &Value) -> Vec<&str> {
    items.as_array().unwrap().iter().map(|item| item["label"].as_str().unwrap()).collect()
}

#[test]
fn a_mistake_is_told_with_place_name_and_help_in_each_encoding() {
    let text = cheesy().replace("{rh:.0}", "{rhh:.0}");
    for (offered, agreed, column) in
        [(&[][..], "utf-16", 26), (&["utf-8", "utf-16"], "utf-8", 31), (&["utf-16"], "utf-16", 26)]
    {
        let mut editor = Editor::talking(offered);
        assert_eq!(editor.encoding, agreed);
        editor.open(DOOR, &text);
        let findings = editor.findings(1);
        let [finding] = &findings[..] else { panic!("{findings:#?}") };
        assert_eq!(finding["code"], "unknown name");
        assert_eq!((&finding["severity"], &finding["source"]), (&json!(1), &json!("sidelight")));
        assert_eq!(finding["range"]["start"], json!({ "line": 6, "character": column }));
        assert_eq!(editor.slice(&text, &finding["range"]), "rhh");
        assert!(finding["message"].as_str().unwrap().ends_with("help: did you mean `rh`?"), "{finding}");
    }
}

#[test]
fn findings_go_when_the_mistake_goes() {
    let text = LAYOUT.replace("unit: °C range", "unit: °X range");
    let mut editor = Editor::with(&text);
    let findings = editor.findings(1);
    assert_eq!((findings.len(), &findings[0]["code"]), (1, &json!("unknown unit")), "{findings:#?}");
    assert_eq!(editor.slice(&text, &findings[0]["range"]), "°X");
    editor.change(2, json!([{ "range": findings[0]["range"], "text": "°C" }]));
    assert_eq!(editor.findings(2), [json!(null); 0]);
    // What was told about a text that is closed is taken back.
    editor.change(3, json!([{ "text": "panel" }]));
    assert!(!editor.findings(3).is_empty());
    editor.tell("textDocument/didClose", json!({ "textDocument": { "uri": DOOR } }));
    let taken_back = editor.next();
    assert_eq!(taken_back["params"], json!({ "uri": DOOR, "diagnostics": [] }));
}

#[test]
fn whoever_types_fast_gets_the_findings_of_the_last_letter() {
    let mut editor = Editor::with(LAYOUT);
    // Signs pile up where a statement could stand.
    let at = editor.position(LAYOUT, LAYOUT.len());
    for version in 2..200 {
        editor.change(version, json!([{ "range": { "start": at, "end": at }, "text": "°" }]));
    }
    let findings = editor.findings(199);
    assert!(!findings.is_empty() && findings.iter().all(|finding| finding["severity"] == json!(1)), "{findings:#?}");
    editor.change(200, json!([{ "text": LAYOUT }]));
    assert_eq!(editor.findings(200), [json!(null); 0]);
}

#[test]
fn what_does_not_fit_is_told_while_it_is_written() {
    let text = LAYOUT.replace("{dew:.1}\" size: 9", "{dew:.1}°\" size: 24 face: wide");
    let mut editor = Editor::with(&text);
    let findings = editor.findings(1);
    let finding = findings.iter().find(|finding| finding["code"] == "does not fit").expect("a text that is too tall");
    assert_eq!(editor.slice(&text, &finding["range"]), "\"{dew:.1}°\"");
    assert!(finding["message"].as_str().unwrap().contains("\nhelp: "), "{finding}");
}

#[test]
fn completion_knows_the_place() {
    let mut editor = Editor::talking(&[]);
    let mut offered = |text: &str| -> Value {
        let at = text.find('|').unwrap();
        let text = text.replacen('|', "", 1);
        editor.open(DOOR, &text);
        let position = editor.position(&text, at);
        editor.ask("textDocument/completion", json!({ "textDocument": { "uri": DOOR }, "position": position })).unwrap()
    };
    let begin = LAYOUT.split_once("screen").unwrap().0;

    // An argument of the line before may begin a line.
    let top = offered(&format!("{begin}|\n"));
    assert_eq!(labels(&top), ["panel", "reading", "value", "screen", "dim", "each", "allow", "range:"]);
    assert!(top[1]["documentation"].as_str().unwrap().contains("heard from the broker"), "{}", top[1]);

    let arguments = offered(&format!("{begin}screen s {{ bar temp over: 8..16°C |"));
    assert!(labels(&arguments).contains(&"target:") && labels(&arguments).contains(&"when:"));
    assert!(!labels(&arguments).contains(&"over:"), "given already");

    let readings = offered(&format!("{begin}screen s {{ text \"µ° 🧀 {{te|mp:.1}}\" }}\n"));
    let temp = &readings[0];
    assert_eq!((&temp["label"], &temp["detail"]), (&json!("temp"), &json!("reading in °C, -10..40°C")));
    let text = format!("{begin}screen s {{ text \"µ° 🧀 {{temp:.1}}\" }}\n");
    let start = text.find("{temp:").unwrap() + 1;
    let line = text[..start].rsplit('\n').next().unwrap().encode_utf16().count();
    assert_eq!(temp["textEdit"]["range"]["start"]["character"], json!(line));
    assert_eq!(temp["textEdit"]["range"]["end"]["character"], json!(line + 4), "the whole word is replaced");
    let function = readings.as_array().unwrap().iter().find(|item| item["label"] == "dew_point").unwrap();
    assert_eq!(function["textEdit"]["newText"], "dew_point(${1:temperature}, ${2:relative humidity})");
    let called = offered(&format!("{begin}value late = dew|_point(temp, rh)\n"));
    let function = called.as_array().unwrap().iter().find(|item| item["label"] == "dew_point").unwrap();
    assert_eq!(function["textEdit"]["newText"], "dew_point", "its parentheses are there already");

    let units = offered("panel 128x32\nreading power from: \"cellar/plant/power\" unit: |\n");
    assert!(["°C", "%", "kWh", "µg/m³"].iter().all(|unit| labels(&units).contains(unit)));

    assert_eq!(labels(&offered(&format!("{begin}screen s {{ text \"°\" align: |"))), ["left", "center", "right"]);
    assert_eq!(labels(&offered(&format!("{begin}screen s {{ bar temp direction: |"))), ["right", "left", "up", "down"]);
    assert!(labels(&offered(&format!("{begin}screen s {{ icon \"do|"))).contains(&"door-open"));
    assert!(labels(&offered("screen s { text \"{clock(\"%H:%M\", \"As|\")}\" }")).contains(&"Asia/Tokyo"));
    assert!(labels(&offered(&format!("{begin}allow \"|"))).contains(&"never used"));

    // The parser gives up in the line before; the cursor does not.
    let broken = offered(&format!("{begin}value x = ( 3 +\nscreen s {{ text \"° {{temp:.1\n text \"{{dew_point(te|"));
    assert!(labels(&broken).contains(&"temp") && labels(&broken).contains(&"dew"), "{:?}", labels(&broken));
}

#[test]
fn hover_says_what_it_is() {
    let mut editor = Editor::with(LAYOUT);
    let mut hover = |part: &str, behind: usize| -> (String, String) {
        let found = editor.ask_at("textDocument/hover", LAYOUT, part, behind).unwrap();
        let slice = editor.slice(LAYOUT, &found["range"]).to_string();
        assert_eq!(found["contents"]["kind"], "markdown");
        (slice, found["contents"]["value"].as_str().unwrap().to_string())
    };
    assert_eq!(hover("{temp:.1}", 2), ("temp".into(), "`temp`: reading in °C, -10..40°C".into()));
    assert_eq!(hover("{dew:", 2), ("dew".into(), "`dew`: value in °C, -45..40°C".into()));
    let (word, about) = hover("dew_point", 3);
    assert_eq!(word, "dew_point");
    assert!(
        about.contains("temperature in °C, relative humidity in %") && about.contains("source: Magnus form"),
        "{about}"
    );
    let (text, widest) = hover("\"µ° {", 1);
    assert_eq!(text, "\"µ° {temp:.1}° {rh:.0}\"");
    assert!(widest.starts_with("at its widest “"), "{widest}");
    assert!(widest.contains("−10.0° 100”") && widest.contains(" px wide and "), "{widest}");
    assert!(hover("unit: °C", 8).1.contains("temperature"));
    assert!(hover("range: -10", 2).1.starts_with("`range:` range"));
    // Comments say nothing.
    assert_eq!(editor.ask_at("textDocument/hover", LAYOUT, "Beside", 2), Ok(Value::Null));
}

#[test]
fn definitions_and_references_are_found() {
    let text = &cheesy();
    let mut editor = Editor::with(text);
    let found = editor.ask_at("textDocument/definition", text, "{temp:.1}", 2).unwrap();
    assert_eq!(found.as_array().unwrap().len(), 1);
    assert_eq!((&found[0]["uri"], &found[0]["range"]["start"]), (&json!(DOOR), &json!({ "line": 2, "character": 8 })));
    let lines = |found: &Value| -> Vec<u64> {
        found.as_array().unwrap().iter().map(|place| place["range"]["start"]["line"].as_u64().unwrap()).collect()
    };
    let found = editor.ask_at("textDocument/references", text, "temp from", 1).unwrap();
    assert_eq!(lines(&found), [2, 4, 6]);
    for place in found.as_array().unwrap() {
        assert_eq!(editor.slice(text, &place["range"]), "temp");
    }
    let position = editor.position(text, text.find("temp from").unwrap());
    let params =
        json!({ "textDocument": { "uri": DOOR }, "position": position, "context": { "includeDeclaration": false } });
    assert_eq!(lines(&editor.ask("textDocument/references", params).unwrap()), [4, 6]);
    assert_eq!(editor.ask_at("textDocument/definition", text, "128x32", 1), Ok(json!([])));
}

#[test]
fn another_name_everywhere_at_once() {
    let text = &cheesy();
    let clean = |text: &str| checks_clean(&text.replace(" 🧀 {", " {"));
    assert!(clean(text));
    for encodings in [&[][..], &["utf-8"]] {
        let mut editor = Editor::talking(encodings);
        editor.open(DOOR, text);
        let prepared = editor.ask_at("textDocument/prepareRename", text, "{temp:.1}", 1).unwrap();
        assert_eq!(prepared["placeholder"], "temp");
        let mut rename = |new: &str| {
            let position = editor.position(text, text.find("{temp:.1}").unwrap() + 1);
            let params = json!({ "textDocument": { "uri": DOOR }, "position": position, "newName": new });
            editor.ask("textDocument/rename", params).map(|changes| editor.edited(text, &changes["changes"][DOOR]))
        };
        let renamed = rename("air").unwrap();
        let wanted = text.replace("temp from", "air from").replace("(temp,", "(air,").replace("{temp:", "{air:");
        assert_eq!(renamed, wanted);
        assert!(clean(&renamed));
        for (bad, why) in [
            ("rh", "taken"),
            ("dew", "taken"),
            ("if", "no name"),
            ("two words", "no name"),
            ("9°", "no name"),
            ("", "no name"),
        ] {
            let (code, message) = rename(bad).unwrap_err();
            assert!(code == REQUEST_FAILED && message.contains(why), "{bad}: {message}");
        }
        let nameless = editor.ask_at("textDocument/prepareRename", text, "panel", 1).unwrap_err();
        assert_eq!(nameless.0, REQUEST_FAILED);
    }
}

#[test]
fn formatting_is_that_of_the_verb() {
    let untidy = LAYOUT.replace("  text", "text").replace("size: 9", "   size:9").replace("}\n", "}\n\n\n");
    let mut editor = Editor::with(&untidy);
    let params = json!({ "textDocument": { "uri": DOOR }, "options": { "tabSize": 8, "insertSpaces": false } });
    let edits = editor.ask("textDocument/formatting", params.clone()).unwrap();
    let formatted = run(&["format", "-"], untidy.as_bytes());
    assert!(formatted.status.success());
    let formatted = String::from_utf8(formatted.stdout).unwrap();
    assert_ne!(formatted, untidy);
    assert_eq!(editor.edited(&untidy, &edits), formatted);
    editor.change(2, json!([{ "text": formatted }]));
    assert_eq!(editor.ask("textDocument/formatting", params.clone()), Ok(json!([])));
    // What is damaged is left as it is.
    editor.change(3, json!([{ "text": "screen s {\n  text \"°" }]));
    assert_eq!(editor.ask("textDocument/formatting", params), Ok(Value::Null));
}

#[test]
fn the_outline_has_all_that_is_declared() {
    let mut editor = Editor::with(LAYOUT);
    let symbols = editor.ask("textDocument/documentSymbol", json!({ "textDocument": { "uri": DOOR } })).unwrap();
    let names: Vec<&str> = symbols.as_array().unwrap().iter().map(|symbol| symbol["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["panel 128x32", "temp", "rh", "dew", "door"]);
    assert_eq!(editor.slice(LAYOUT, &symbols[4]["selectionRange"]), "door");
    assert_eq!(symbols[4]["children"].as_array().unwrap().len(), 2);
    assert_eq!(symbols[4]["children"][0]["range"]["start"], json!({ "line": 6, "character": 2 }));
}

#[test]
fn a_face_beside_the_layout_is_looked_for() {
    let folder = tempfile::Builder::new().prefix("a door °").tempdir().unwrap();
    let text = LAYOUT.replace("{dew:.1}\" size: 9", "{dew:.1}\" size: 16 face: \"own.ttf\"");
    let escaped = folder.path().to_str().unwrap().replace(' ', "%20").replace('°', "%C2%B0");
    let uri = format!("file://{escaped}/door.layout");
    let told = |editor: &mut Editor| -> String {
        loop {
            let message = editor.next();
            if message["method"] == "textDocument/publishDiagnostics" {
                return message["params"]["diagnostics"][0]["message"].as_str().unwrap().to_string();
            }
        }
    };
    let mut editor = Editor::talking(&[]);
    editor.open(&uri, &text);
    let missing = told(&mut editor);
    std::fs::write(folder.path().join("own.ttf"), "no face").unwrap();
    editor.tell("textDocument/didSave", json!({ "textDocument": { "uri": uri } }));
    let damaged = told(&mut editor);
    assert!(missing.contains("own.ttf") && damaged.contains("own.ttf") && missing != damaged, "{missing}\n{damaged}");
}

#[test]
fn what_is_not_answered_says_so() {
    let mut editor = Editor::start();
    let early = editor.ask("textDocument/hover", json!({})).unwrap_err();
    assert_eq!(early.0, NOT_INITIALIZED);
    editor.ask("initialize", json!({ "capabilities": {} })).unwrap();
    let (code, message) = editor.ask("cellar/cheese", json!({})).unwrap_err();
    assert_eq!((code, message.contains("cellar/cheese")), (METHOD_NOT_FOUND, true));
    let (code, _) = editor.ask("textDocument/hover", json!({ "textDocument": 3 })).unwrap_err();
    assert_eq!(code, INVALID_PARAMS);
    // What is told and not known is passed over, as the protocol asks.
    editor.tell("$/cheese", json!({}));
    assert_eq!(editor.ask("shutdown", Value::Null), Ok(Value::Null));
}

#[test]
fn the_end_in_order_and_out_of_order() {
    let mut editor = Editor::talking(&[]);
    assert_eq!(editor.ask("shutdown", Value::Null), Ok(Value::Null));
    editor.tell("exit", Value::Null);
    assert_eq!(editor.end(), 0);

    let mut editor = Editor::talking(&[]);
    editor.tell("exit", Value::Null);
    assert_eq!(editor.end(), 1);

    assert_eq!(Editor::talking(&[]).end(), 2, "the editor died");
}

#[test]
fn garbage_is_told_in_words() {
    let framed = |body: &str| format!("Content-Length: {}\r\n\r\n{body}", body.len());
    for (garbage, words) in [
        ("panel 128x32\n".to_string(), "expected a message of the Language Server Protocol, found “panel 128x32"),
        ("\u{7}\u{0}°".repeat(1000), "found “\\x07\\x00\\xc2\\xb0"),
        (framed("{\"jsonrpc\":"), "expected a message of the Language Server Protocol"),
        ("Content-Length: 99999999999\r\n\r\n".to_string(), "found one of 99999999999"),
        ("Content-Length: 50\r\n\r\n{".to_string(), "cannot read standard input"),
        (String::new(), "standard input ended before the editor said `shutdown`"),
    ] {
        let done = run(&["language-server"], garbage.as_bytes());
        let said = String::from_utf8(done.stderr).unwrap();
        assert_eq!((done.status.code(), done.stdout.len()), (Some(2), 0), "{garbage:.40}");
        assert!(said.contains(words) && said.len() < 400, "{said}");
    }
}
