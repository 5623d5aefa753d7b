//! The health of an installation as a text in OpenMetrics 1.0, for programs that collect such texts.
//!
//! What enters is a [`Health`]; what leaves is text. Names of metrics are prefixed with the program's, carry their unit, and are
//! listed in the README.

use std::fmt::Write;

use super::Health;

/// A text under construction.
#[derive(Default)]
struct Text(String);

impl Text {
    /// Begins a family of metrics. A family whose samples carry a unit has it at the end of its name.
    fn family(&mut self, name: &str, kind: &str, unit: &str, help: &str) {
        let _ = writeln!(self.0, "# TYPE sidelight_{name} {kind}");
        if !unit.is_empty() {
            let _ = writeln!(self.0, "# UNIT sidelight_{name} {unit}");
        }
        let _ = writeln!(self.0, "# HELP sidelight_{name} {help}");
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: u64) {
        let _ = write!(self.0, "sidelight_{name}");
        for (number, (label, text)) in labels.iter().enumerate() {
            self.0.push_str(if number == 0 { "{" } else { "," });
            let _ = write!(self.0, "{label}=\"");
            text.chars().for_each(|character| match character {
                '\\' => self.0.push_str("\\\\"),
                '"' => self.0.push_str("\\\""),
                '\n' => self.0.push_str("\\n"),
                other => self.0.push(other),
            });
            self.0.push('"');
        }
        let _ = writeln!(self.0, "{} {value}", if labels.is_empty() { "" } else { "}" });
    }
}

/// The text, complete with its end mark.
pub fn open_metrics(health: &Health) -> String {
    let mut text = Text::default();
    text.family("build", "info", "", "The running program.");
    text.sample("build_info", &[("version", health.version)], 1);
    text.family("uptime_seconds", "gauge", "seconds", "How long the program has been running.");
    text.sample("uptime_seconds", &[], health.uptime_seconds);
    text.family("link_up", "gauge", "", "Whether there is a connection to the broker.");
    text.sample("link_up", &[], health.link.connected.into());
    text.family("link_losses", "counter", "", "Connections that ended or did not come about.");
    text.sample("link_losses_total", &[], health.link.losses);
    text.family("oversized_payloads", "counter", "", "Payloads that were dropped for their size.");
    text.sample("oversized_payloads_total", &[], health.link.oversized);
    layouts(&mut text, health);
    panels(&mut text, health);
    text.0.push_str("# EOF\n");
    text.0
}

fn layouts(text: &mut Text, health: &Health) {
    text.family("layout", "info", "", "The layouts that are shown, by the SHA-256 of their text.");
    for layout in &health.layouts {
        text.sample("layout_info", &[("layout", &layout.name), ("sha256", &layout.sha256)], 1);
    }
    text.family("layout_broken", "gauge", "", "Whether the file holds another text, which cannot be shown.");
    for layout in &health.layouts {
        text.sample("layout_broken", &[("layout", &layout.name)], layout.broken.into());
    }
    let readings =
        || health.layouts.iter().flat_map(|layout| layout.readings.iter().map(move |reading| (layout, reading)));
    text.family("reading_state", "stateset", "", "Whether a reading can be believed.");
    for (layout, reading) in readings() {
        for state in ["live", "stale", "waiting", "faulty"] {
            let labels =
                [("layout", layout.name.as_str()), ("reading", &reading.name), ("sidelight_reading_state", state)];
            text.sample("reading_state", &labels, (reading.state == state).into());
        }
    }
    text.family("reading_accepted", "counter", "", "Messages that were taken.");
    for (layout, reading) in readings() {
        let labels = [("layout", layout.name.as_str()), ("reading", &reading.name)];
        text.sample("reading_accepted_total", &labels, reading.accepted);
    }
    text.family("reading_rejected", "counter", "", "Messages that were refused, by reason.");
    for (layout, reading) in readings() {
        let rejected = reading.rejected;
        for (reason, count) in [
            ("undecodable", rejected.undecodable),
            ("too_long", rejected.too_long),
            ("not_finite", rejected.not_finite),
            ("out_of_range", rejected.out_of_range),
            ("jump", rejected.jumps),
        ] {
            let labels = [("layout", layout.name.as_str()), ("reading", &reading.name), ("reason", reason)];
            text.sample("reading_rejected_total", &labels, count);
        }
    }
}

fn panels(text: &mut Text, health: &Health) {
    text.family("panel_up", "gauge", "", "Whether a panel shows its picture.");
    for panel in &health.panels {
        text.sample("panel_up", &[("panel", &panel.place)], (panel.state == "shows").into());
    }
    text.family("panel_frames", "counter", "", "Frames that reached a panel.");
    for panel in &health.panels {
        text.sample("panel_frames_total", &[("panel", &panel.place)], panel.frames);
    }
    text.family("panel_bus_bytes", "counter", "bytes", "Bytes on the bus for those frames.");
    for panel in &health.panels {
        text.sample("panel_bus_bytes_total", &[("panel", &panel.place)], panel.bus_bytes);
    }
    text.family("panel_failures", "counter", "", "Attempts to show something that failed.");
    for panel in &health.panels {
        text.sample("panel_failures_total", &[("panel", &panel.place)], panel.failures);
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::example;
    use super::*;

    #[test]
    fn the_text_is_as_the_standard_wants_it() {
        insta::assert_snapshot!(open_metrics(&example()), @r##"
        # TYPE sidelight_build info
        # HELP sidelight_build The running program.
        sidelight_build_info{version="0.1.0"} 1
        # TYPE sidelight_uptime_seconds gauge
        # UNIT sidelight_uptime_seconds seconds
        # HELP sidelight_uptime_seconds How long the program has been running.
        sidelight_uptime_seconds 3661
        # TYPE sidelight_link_up gauge
        # HELP sidelight_link_up Whether there is a connection to the broker.
        sidelight_link_up 1
        # TYPE sidelight_link_losses counter
        # HELP sidelight_link_losses Connections that ended or did not come about.
        sidelight_link_losses_total 2
        # TYPE sidelight_oversized_payloads counter
        # HELP sidelight_oversized_payloads Payloads that were dropped for their size.
        sidelight_oversized_payloads_total 0
        # TYPE sidelight_layout info
        # HELP sidelight_layout The layouts that are shown, by the SHA-256 of their text.
        sidelight_layout_info{layout="ripening \"door\".layout",sha256="00ff"} 1
        # TYPE sidelight_layout_broken gauge
        # HELP sidelight_layout_broken Whether the file holds another text, which cannot be shown.
        sidelight_layout_broken{layout="ripening \"door\".layout"} 0
        # TYPE sidelight_reading_state stateset
        # HELP sidelight_reading_state Whether a reading can be believed.
        sidelight_reading_state{layout="ripening \"door\".layout",reading="temp",sidelight_reading_state="live"} 1
        sidelight_reading_state{layout="ripening \"door\".layout",reading="temp",sidelight_reading_state="stale"} 0
        sidelight_reading_state{layout="ripening \"door\".layout",reading="temp",sidelight_reading_state="waiting"} 0
        sidelight_reading_state{layout="ripening \"door\".layout",reading="temp",sidelight_reading_state="faulty"} 0
        sidelight_reading_state{layout="ripening \"door\".layout",reading="rh",sidelight_reading_state="live"} 0
        sidelight_reading_state{layout="ripening \"door\".layout",reading="rh",sidelight_reading_state="stale"} 1
        sidelight_reading_state{layout="ripening \"door\".layout",reading="rh",sidelight_reading_state="waiting"} 0
        sidelight_reading_state{layout="ripening \"door\".layout",reading="rh",sidelight_reading_state="faulty"} 0
        # TYPE sidelight_reading_accepted counter
        # HELP sidelight_reading_accepted Messages that were taken.
        sidelight_reading_accepted_total{layout="ripening \"door\".layout",reading="temp"} 12
        sidelight_reading_accepted_total{layout="ripening \"door\".layout",reading="rh"} 11
        # TYPE sidelight_reading_rejected counter
        # HELP sidelight_reading_rejected Messages that were refused, by reason.
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="temp",reason="undecodable"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="temp",reason="too_long"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="temp",reason="not_finite"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="temp",reason="out_of_range"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="temp",reason="jump"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="rh",reason="undecodable"} 3
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="rh",reason="too_long"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="rh",reason="not_finite"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="rh",reason="out_of_range"} 0
        sidelight_reading_rejected_total{layout="ripening \"door\".layout",reading="rh",reason="jump"} 0
        # TYPE sidelight_panel_up gauge
        # HELP sidelight_panel_up Whether a panel shows its picture.
        sidelight_panel_up{panel="ssd1306:/dev/i2c-1:0x3c"} 1
        sidelight_panel_up{panel="ssd1306:/dev/i2c-1:0x3d"} 0
        # TYPE sidelight_panel_frames counter
        # HELP sidelight_panel_frames Frames that reached a panel.
        sidelight_panel_frames_total{panel="ssd1306:/dev/i2c-1:0x3c"} 7
        sidelight_panel_frames_total{panel="ssd1306:/dev/i2c-1:0x3d"} 7
        # TYPE sidelight_panel_bus_bytes counter
        # UNIT sidelight_panel_bus_bytes bytes
        # HELP sidelight_panel_bus_bytes Bytes on the bus for those frames.
        sidelight_panel_bus_bytes_total{panel="ssd1306:/dev/i2c-1:0x3c"} 900
        sidelight_panel_bus_bytes_total{panel="ssd1306:/dev/i2c-1:0x3d"} 900
        # TYPE sidelight_panel_failures counter
        # HELP sidelight_panel_failures Attempts to show something that failed.
        sidelight_panel_failures_total{panel="ssd1306:/dev/i2c-1:0x3c"} 0
        sidelight_panel_failures_total{panel="ssd1306:/dev/i2c-1:0x3d"} 4
        # EOF
        "##);
    }

    /// What the grammar of OpenMetrics 1.0 asks of every line, from memory: metadata before samples, families in one piece,
    /// suffixes by type, escaped labels, and the end mark.
    #[test]
    fn every_line_belongs_to_the_family_above_it() {
        let mut health = example();
        health.layouts[0].name = "a\\b\"c\nd".into();
        let text = open_metrics(&health);
        assert!(text.contains(r#"{layout="a\\b\"c\nd","#), "{text}");
        let (body, end) = text.split_at(text.len() - "# EOF\n".len());
        assert_eq!(end, "# EOF\n");
        let (mut family, mut kind, mut seen) = (String::new(), "", Vec::new());
        for line in body.lines() {
            if let Some(rest) = line.strip_prefix("# TYPE ") {
                let (name, this) = rest.split_once(' ').unwrap();
                assert!(!seen.contains(&name), "{name} comes twice");
                seen.push(name);
                (family, kind) = (name.to_string(), this);
            } else if let Some(rest) = line.strip_prefix("# UNIT ") {
                let (name, unit) = rest.split_once(' ').unwrap();
                assert!(name == family && name.ends_with(&format!("_{unit}")), "{line}");
            } else if let Some(rest) = line.strip_prefix("# HELP ") {
                assert!(rest.starts_with(&format!("{family} ")) && rest.ends_with('.'), "{line}");
            } else {
                let suffix = match kind {
                    "counter" => "_total",
                    "info" => "_info",
                    "gauge" | "stateset" => "",
                    other => panic!("{other}"),
                };
                let name = line.split(['{', ' ']).next().unwrap();
                assert_eq!(name, format!("{family}{suffix}"), "{line}");
                assert!(line.rsplit_once(' ').unwrap().1.parse::<u64>().is_ok(), "{line}");
            }
        }
        assert!(seen.len() >= 12, "{seen:?}");
    }
}
