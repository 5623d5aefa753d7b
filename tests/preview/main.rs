//! The preview as a browser and its user have it: the real program on a port of its own, asked over HTTP, and looked at in a real browser.

mod broker;
mod browser;
mod http;
mod kit;
mod page;
mod replay;
mod terminal;
