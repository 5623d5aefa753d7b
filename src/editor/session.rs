//! A conversation with an editor: open documents, and an answer to each message.
//!
//! What enters are messages of the Language Server Protocol 3.17; what leaves are answers and findings. Bytes of outline faces come in
//! through a function; nothing else here knows of files, and nothing waits.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use gen_lsp_types as lsp;
use lsp_server::{ErrorCode, Message, Notification, Request, RequestId, Response};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::language::format::{Refusal, canonical};
use crate::language::{Severity, Span};

use super::analysis::Analysis;
use super::answers::{self, Of};
use super::completion::completion;
use super::document::Document;
use super::hover::hover;
use super::names::{definitions, named_at};
use super::position::Encoding;
use super::rename::{renamable, rename};
use super::symbols::symbols;

/// More files than anybody edits at once; further ones get no help.
pub const MOST_OPEN: usize = 64;
/// A document larger than this gets no help until it is opened again; one above [`MAX_BYTES`](crate::language::MAX_BYTES) has no other
/// finding than that.
pub const MOST_BYTES: usize = 1024 * 1024;
const NO_LAYOUT: &str = "a file of more than a megabyte is no layout; it gets no help until it is opened again";

/// Gives the bytes of an outline face that a layout file names, or says why there are none.
pub type Fonts = dyn FnMut(&Path, &str) -> Result<Vec<u8>, String>;

/// A conversation, from the first message to the last.
pub struct Session {
    fonts: Box<Fonts>,
    stage: Stage,
    encoding: Encoding,
    snippets: bool,
    /// By address, as the editor writes it.
    open: BTreeMap<String, Open>,
}

/// How far a conversation has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Nothing was agreed on yet.
    Before,
    /// Questions are answered.
    Talking,
    /// The editor has nothing more to ask.
    ShutDown,
    /// It is over; whether in order.
    Over(bool),
}

/// An open document.
struct Open {
    document: Document,
    /// What is known of it, once it was looked at.
    analysis: Option<Analysis>,
    /// Whether its findings still have to be told.
    untold: bool,
}

/// Why a question has no answer.
struct Refused {
    code: ErrorCode,
    message: String,
}

impl Refused {
    fn failed(problem: impl std::fmt::Display) -> Self {
        Self { code: ErrorCode::RequestFailed, message: problem.to_string() }
    }
}

type Answer = Result<Value, Refused>;

impl Session {
    /// A conversation that has not begun.
    pub fn new(fonts: Box<Fonts>) -> Self {
        Self { fonts, stage: Stage::Before, encoding: Encoding::Utf16, snippets: false, open: BTreeMap::new() }
    }

    /// Whether the editor said that it is over, and if so whether it said before that it was about to.
    pub fn over(&self) -> Option<bool> {
        if let Stage::Over(in_order) = self.stage { Some(in_order) } else { None }
    }

    /// Whether the editor needs nothing more.
    pub fn is_shut_down(&self) -> bool {
        self.stage == Stage::ShutDown
    }

    /// What a message is answered with.
    pub fn handle(&mut self, message: Message) -> Vec<Message> {
        match message {
            Message::Request(request) => vec![self.request(request).into()],
            Message::Notification(notification) => self.notification(notification),
            // Nothing is ever asked of the editor.
            Message::Response(_) => Vec::new(),
        }
    }

    /// The findings of the documents that changed since they were told. To be asked for when no message waits, so that who types fast is
    /// not checked after each letter.
    pub fn settle(&mut self) -> Vec<Message> {
        let untold = self.open.iter_mut().filter(|(_, open)| open.untold);
        let mut messages = Vec::new();
        for (uri, open) in untold {
            open.untold = false;
            let analysis = looked_at(uri, &open.document, &mut open.analysis, &mut self.fonts);
            let findings = &analysis.understood.findings;
            let of = Of { text: &analysis.text, lines: &open.document.lines, uri };
            let diagnostics = findings.iter().map(|finding| answers::diagnostic(&of, finding)).collect();
            messages.push(published(uri, Some(open.document.version), diagnostics));
        }
        messages
    }

    fn request(&mut self, request: Request) -> Response {
        let Request { id, method, params } = request;
        let answer = match (self.stage, method.as_str()) {
            (Stage::Before, "initialize") => self.initialize(params),
            (Stage::Before, _) => Err(Refused {
                code: ErrorCode::ServerNotInitialized,
                message: format!("expected `initialize` first, found `{method}`"),
            }),
            (Stage::Talking, "shutdown") => {
                self.stage = Stage::ShutDown;
                Ok(Value::Null)
            }
            (Stage::Talking, _) => self.question(&method, params),
            (Stage::ShutDown | Stage::Over(_), _) => Err(Refused {
                code: ErrorCode::InvalidRequest,
                message: format!("expected `exit` after `shutdown`, found `{method}`"),
            }),
        };
        answered(id, answer)
    }

    fn initialize(&mut self, params: Value) -> Answer {
        let params: lsp::InitializeParams = read(params)?;
        let offered = params.capabilities.general.and_then(|general| general.position_encodings).unwrap_or_default();
        self.encoding = Encoding::agreed(&offered);
        let completion = params.capabilities.text_document.and_then(|document| document.completion);
        let item = completion.and_then(|completion| completion.completion_item);
        self.snippets = item.and_then(|item| item.snippet_support) == Some(true);
        self.stage = Stage::Talking;
        Ok(json!({
            "capabilities": {
                "positionEncoding": self.encoding.kind(),
                "textDocumentSync": { "openClose": true, "change": lsp::TextDocumentSyncKind::Incremental },
                "completionProvider": { "triggerCharacters": ["{", ":", "(", ",", ".", "\""] },
                "hoverProvider": true,
                "definitionProvider": true,
                "referencesProvider": true,
                "renameProvider": { "prepareProvider": true },
                "documentFormattingProvider": true,
                "documentSymbolProvider": true,
            },
            "serverInfo": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        }))
    }

    fn notification(&mut self, notification: Notification) -> Vec<Message> {
        let Notification { method, params } = notification;
        if method == "exit" {
            self.stage = Stage::Over(self.stage == Stage::ShutDown);
        }
        if self.stage != Stage::Talking {
            return Vec::new();
        }
        match method.as_str() {
            "textDocument/didOpen" => read(params).map_or_else(|refused| told(&refused.message), |it| self.opened(it)),
            "textDocument/didChange" => {
                read(params).map_or_else(|refused| told(&refused.message), |it| self.changed(it))
            }
            "textDocument/didClose" => read(params).map_or_else(|refused| told(&refused.message), |it| self.closed(it)),
            // What a document means may depend on a face that was saved meanwhile.
            "textDocument/didSave" => {
                self.open.values_mut().for_each(|open| (open.analysis, open.untold) = (None, true));
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    fn opened(&mut self, params: lsp::DidOpenTextDocumentParams) -> Vec<Message> {
        let lsp::TextDocumentItem { uri: lsp::Uri(uri), version, text, .. } = params.text_document;
        if self.open.len() >= MOST_OPEN && !self.open.contains_key(&uri) {
            return told(&format!("{MOST_OPEN} layouts are open already; close some to get help with further ones"));
        }
        if text.len() > MOST_BYTES {
            return self.let_go(&uri);
        }
        let document = Document::new(text, version, self.encoding);
        self.open.insert(uri, Open { document, analysis: None, untold: true });
        Vec::new()
    }

    fn changed(&mut self, params: lsp::DidChangeTextDocumentParams) -> Vec<Message> {
        let lsp::VersionedTextDocumentIdentifier { version, text_document_identifier } = params.text_document;
        let lsp::Uri(uri) = text_document_identifier.uri;
        let Some(open) = self.open.get_mut(&uri) else { return Vec::new() };
        open.document.change(params.content_changes, version);
        (open.analysis, open.untold) = (None, true);
        if open.document.text.len() > MOST_BYTES { self.let_go(&uri) } else { Vec::new() }
    }

    fn let_go(&mut self, uri: &str) -> Vec<Message> {
        let mut messages = told(NO_LAYOUT);
        messages.extend(self.forgotten(uri));
        messages
    }

    /// The findings of a file that is not looked at any more are nobody's.
    fn forgotten(&mut self, uri: &str) -> Option<Message> {
        self.open.remove(uri).map(|_| published(uri, None, Vec::new()))
    }

    fn closed(&mut self, params: lsp::DidCloseTextDocumentParams) -> Vec<Message> {
        let lsp::Uri(uri) = params.text_document.uri;
        self.forgotten(&uri).into_iter().collect()
    }

    fn question(&mut self, method: &str, params: Value) -> Answer {
        match method {
            "textDocument/completion" => self.at(params, |client, of, analysis, at| {
                let (typed, items) = completion(analysis, at);
                let place = answers::Place { range: of.range(typed), next: next_sign(&analysis.text, typed) };
                let items = items.into_iter().enumerate();
                let items: Vec<lsp::CompletionItem> =
                    items.map(|(index, item)| answers::completion_item(item, index, place, client)).collect();
                Ok(json!(items))
            }),
            "textDocument/hover" => self.at(params, |_, of, analysis, at| {
                let found = hover(analysis, at);
                let answer = |(span, text): (Span, String)| {
                    json!({ "contents": { "kind": "markdown", "value": text }, "range": of.range(span) })
                };
                Ok(found.map_or(Value::Null, answer))
            }),
            "textDocument/definition" => self.at(params, |_, of, analysis, at| {
                let places: Vec<lsp::Location> =
                    definitions(analysis, at).into_iter().map(|span| of.location(span)).collect();
                Ok(json!(places))
            }),
            "textDocument/references" => {
                let declarations = params["context"]["includeDeclaration"] == json!(true);
                self.at(params, |_, of, analysis, at| {
                    let Some(named) = named_at(analysis, at) else { return Ok(Value::Null) };
                    let declared = named.declarations.iter().filter(|_| declarations);
                    let places: Vec<lsp::Location> =
                        declared.chain(&named.uses).map(|span| of.location(*span)).collect();
                    Ok(json!(places))
                })
            }
            "textDocument/prepareRename" => self.at(params, |_, of, analysis, at| {
                let named = renamable(analysis, at).map_err(Refused::failed)?;
                Ok(json!({ "range": of.range(named.asked), "placeholder": analysis.slice(named.asked) }))
            }),
            "textDocument/rename" => {
                let new = params["newName"].as_str().unwrap_or_default().to_string();
                self.at(params, |_, of, analysis, at| {
                    let places = rename(analysis, at, &new).map_err(Refused::failed)?;
                    let edits = places.into_iter().map(|span| lsp::TextEdit::new(of.range(span), new.clone()));
                    Ok(json!({ "changes": { of.uri: edits.collect::<Vec<_>>() } }))
                })
            }
            "textDocument/formatting" => self.about(params, |of, analysis| match canonical(&analysis.text) {
                Ok(formatted) if formatted == analysis.text => Ok(json!([])),
                Ok(formatted) => {
                    let whole = of.range(Span::new(0, analysis.text.len()));
                    Ok(json!([lsp::TextEdit::new(whole, formatted)]))
                }
                // The findings say why already, and a file is often saved with a mistake in it.
                Err(Refusal::Damaged(_)) => Ok(Value::Null),
                Err(refusal) => Err(Refused::failed(refusal)),
            }),
            "textDocument/documentSymbol" => self.about(params, |of, analysis| {
                let found = symbols(&analysis.text, &analysis.understood.document);
                Ok(found.iter().map(|symbol| answers::symbol(of, symbol)).collect())
            }),
            _ => Err(Refused {
                code: ErrorCode::MethodNotFound,
                message: format!("`{method}` is not among what this server answers"),
            }),
        }
    }

    /// An answer about a document; null where it is not open.
    fn about(&mut self, params: Value, answer: impl FnOnce(&Of<'_>, &Analysis) -> Answer) -> Answer {
        let lsp::TextDocumentIdentifier { uri: lsp::Uri(uri) } = read(params["textDocument"].clone())?;
        let Some(open) = self.open.get_mut(&uri) else { return Ok(Value::Null) };
        let analysis = looked_at(&uri, &open.document, &mut open.analysis, &mut self.fonts);
        answer(&Of { text: &analysis.text, lines: &open.document.lines, uri: &uri }, analysis)
    }

    /// An answer about a place in a document.
    fn at(
        &mut self,
        params: Value,
        answer: impl FnOnce(answers::Client, &Of<'_>, &Analysis, usize) -> Answer,
    ) -> Answer {
        let position: lsp::Position = read(params["position"].clone())?;
        let client = answers::Client { snippets: self.snippets };
        self.about(params, |of, analysis| answer(client, of, analysis, of.lines.offset(of.text, position)))
    }
}

/// What is known of a document; it is looked at where that was not done since it changed.
fn looked_at<'a>(
    uri: &str,
    document: &Document,
    analysis: &'a mut Option<Analysis>,
    fonts: &mut Box<Fonts>,
) -> &'a Analysis {
    analysis.get_or_insert_with(|| {
        let path = path_of(uri);
        let mut font = |face: &str| match &path {
            Some(path) => fonts(path, face),
            None => Err("a layout that was never saved has no folder to look for faces in".to_string()),
        };
        Analysis::of(&document.text, &mut font)
    })
}

/// What stands behind a place, blanks of its line left out.
fn next_sign(text: &str, typed: Span) -> Option<char> {
    text.get(typed.end as usize..)?.chars().find(|sign| !matches!(sign, ' ' | '\t'))
}

/// The path that a `file:` address names on this machine.
fn path_of(uri: &str) -> Option<PathBuf> {
    let escaped = uri.strip_prefix("file://").filter(|path| path.starts_with('/'))?;
    let mut bytes = Vec::with_capacity(escaped.len());
    let mut rest = escaped.bytes();
    while let Some(byte) = rest.next() {
        let hex = |byte: Option<u8>| byte.and_then(|byte| char::from(byte).to_digit(16));
        bytes.push(match byte {
            b'%' => (hex(rest.next())? * 16 + hex(rest.next())?) as u8,
            byte => byte,
        });
    }
    String::from_utf8(bytes).ok().map(PathBuf::from)
}

fn read<T: DeserializeOwned>(params: Value) -> Result<T, Refused> {
    serde_json::from_value(params)
        .map_err(|problem| Refused { code: ErrorCode::InvalidParams, message: problem.to_string() })
}

fn answered(id: RequestId, answer: Answer) -> Response {
    match answer {
        Ok(result) => Response { id, response_result: Ok(result) },
        Err(Refused { code, message }) => Response::new_err(id, code as i32, message),
    }
}

fn published(uri: &str, version: Option<i32>, diagnostics: Vec<lsp::Diagnostic>) -> Message {
    let mut params = json!({ "uri": uri, "diagnostics": diagnostics });
    if let Some(version) = version {
        params["version"] = version.into();
    }
    Message::Notification(Notification { method: "textDocument/publishDiagnostics".into(), params })
}

/// A line that the editor shows to whoever sits before it.
fn told(message: &str) -> Vec<Message> {
    let params = json!({ "type": lsp::MessageType::Warning, "message": format!("sidelight: {message}") });
    vec![Message::Notification(Notification { method: "window/showMessage".into(), params })]
}

/// A finding's weight in the protocol.
pub(super) fn severity(severity: Severity) -> lsp::DiagnosticSeverity {
    match severity {
        Severity::Error => lsp::DiagnosticSeverity::Error,
        Severity::Warning => lsp::DiagnosticSeverity::Warning,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session() -> Session {
        let mut session = Session::new(Box::new(|_, _| Err("no fonts here".into())));
        ask(&mut session, "initialize", json!({ "capabilities": {} })).unwrap();
        session
    }

    fn ask(session: &mut Session, method: &str, params: Value) -> Result<Value, (i32, String)> {
        let request = Request { id: 1.into(), method: method.into(), params };
        match session.handle(request.into()).pop() {
            Some(Message::Response(response)) => response.response_result.map_err(|error| (error.code, error.message)),
            other => panic!("no answer but {other:?}"),
        }
    }

    fn tell(session: &mut Session, method: &str, params: Value) -> Vec<Message> {
        session.handle(Message::Notification(Notification { method: method.into(), params }))
    }

    fn open(session: &mut Session, uri: &str, text: &str) -> Vec<Message> {
        let document = json!({ "uri": uri, "languageId": "sidelight", "version": 1, "text": text });
        tell(session, "textDocument/didOpen", json!({ "textDocument": document }))
    }

    #[test]
    fn the_order_of_a_conversation() {
        let mut session = Session::new(Box::new(|_, _| Err("no fonts here".into())));
        let hover = json!({ "textDocument": { "uri": "file:///a" }, "position": { "line": 0, "character": 0 } });
        assert_eq!(ask(&mut session, "textDocument/hover", hover.clone()).unwrap_err().0, -32002);
        ask(&mut session, "initialize", json!({ "capabilities": {} })).unwrap();
        assert_eq!(ask(&mut session, "textDocument/hover", hover.clone()), Ok(Value::Null));
        assert_eq!(ask(&mut session, "cellar/cheese", Value::Null).unwrap_err().0, -32601);
        assert_eq!(ask(&mut session, "textDocument/hover", json!({ "textDocument": 3 })).unwrap_err().0, -32602);
        assert_eq!(ask(&mut session, "shutdown", Value::Null), Ok(Value::Null));
        assert_eq!(ask(&mut session, "textDocument/hover", hover).unwrap_err().0, -32600);
        assert_eq!(session.over(), None);
        tell(&mut session, "exit", Value::Null);
        assert_eq!(session.over(), Some(true));
    }

    #[test]
    fn findings_are_told_once_for_each_change() {
        let mut session = session();
        open(&mut session, "file:///door.layout", "panel 128x32\n");
        assert_eq!(session.settle().len(), 1);
        assert_eq!(session.settle().len(), 0);
        for text in ["panel 12", "panel 128x3"] {
            let change = json!({ "textDocument": { "uri": "file:///door.layout", "version": 2 }, "contentChanges": [{ "text": text }] });
            tell(&mut session, "textDocument/didChange", change);
        }
        assert_eq!(session.settle().len(), 1);
        let closed = json!({ "textDocument": { "uri": "file:///door.layout" } });
        let told = tell(&mut session, "textDocument/didClose", closed);
        assert!(matches!(&told[..], [Message::Notification(it)] if it.params["diagnostics"] == json!([])));
    }

    #[test]
    fn what_arrives_is_bounded() {
        let mut session = session();
        for number in 0..MOST_OPEN {
            assert!(open(&mut session, &format!("file:///{number}"), "").is_empty());
        }
        assert_eq!(open(&mut session, "file:///more", "").len(), 1);
        assert!(open(&mut session, "file:///1", "again").is_empty());
        let large = "#".repeat(crate::language::MAX_BYTES + 1);
        open(&mut session, "file:///1", &large);
        session.settle();
        let analysis = session.open["file:///1"].analysis.as_ref().unwrap();
        assert_eq!(analysis.understood.findings[0].name, "file too large");
        let grown = json!({ "textDocument": { "uri": "file:///1", "version": 2 }, "contentChanges": [{ "text": "#".repeat(MOST_BYTES + 1) }] });
        let told = tell(&mut session, "textDocument/didChange", grown);
        assert!(matches!(&told[..], [Message::Notification(said), Message::Notification(taken_back)]
            if said.method == "window/showMessage" && taken_back.params["diagnostics"] == json!([])));
        assert!(!session.open.contains_key("file:///1"));
        assert_eq!(open(&mut session, "file:///1", &"#".repeat(MOST_BYTES + 1)).len(), 1);
        assert!(!session.open.contains_key("file:///1"));
    }

    #[test]
    fn addresses_to_paths() {
        assert_eq!(path_of("file:///cellar/my%20door.layout"), Some(PathBuf::from("/cellar/my door.layout")));
        assert_eq!(path_of("file:///cellar/%C3%A9"), Some(PathBuf::from("/cellar/é")));
        assert_eq!(path_of("untitled:door"), None);
        assert_eq!(path_of("file:///a%2"), None);
        assert_eq!(path_of("file:///a%ff"), None);
    }
}
