//! The state of `listen` as a screen.
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Paragraph, Wrap};

use super::panel::{Panel, SHOWN};
use crate::capture::Condition;
use crate::reading::Recent;
use crate::report::{Glyphs, Look, words};

/// The level bar: from this level in dB up to full scale.
const BAR_FROM: f64 = -60.0;
const BAR: usize = 20;

impl Panel {
    /// Draws the state as a screen.
    pub fn draw(&self, screen: &mut Frame, look: &Look) {
        let strong = Style::new().add_modifier(Modifier::BOLD);
        let tone = |colour| {
            if look.colour {
                Style::new().fg(colour)
            } else {
                Style::new()
            }
        };
        let mut head = vec![Span::styled(self.source.as_str(), strong)];
        head.push(Span::raw(format!("   {}", words::moment(self.now))));
        if let Some(path) = &self.kept_in {
            head.push(Span::raw(format!("   kept in {path}")));
        }
        if self.dropped.0 > 0.0 {
            head.push(Span::styled(
                format!("   {}", self.losses()),
                tone(Color::Yellow),
            ));
        }
        let mut speed = vec![Span::styled(format!("{:>10}", self.speed()), strong)];
        let steadiness = self.steadiness();
        speed.extend(
            steadiness
                .map(|words| Span::raw(format!("   {words} rpm in {:.0} s", Recent::length().0))),
        );
        let firing = format!("   firing  {}", self.firing().unwrap_or_default());
        let mut lines = vec![
            Line::from(head),
            Line::default(),
            Line::from(speed),
            Line::from(firing),
            Line::from(self.bar(look)),
        ];
        if let Some(hint) = self.advice() {
            lines.push(Line::styled(
                format!("           {hint}"),
                tone(Color::Yellow),
            ));
        } else {
            lines.push(Line::default());
        }
        if let Some(urgent) = self.urgent() {
            lines[1] = Line::styled(
                urgent,
                tone(Color::Red).add_modifier(Modifier::BOLD | Modifier::REVERSED),
            );
        }
        let messages: u16 = self.messages.len() as u16 * 2;
        let [top, chart, told, foot] = Layout::vertical([
            Constraint::Length(lines.len() as u16),
            Constraint::Min(3),
            Constraint::Max(messages),
            Constraint::Length(1),
        ])
        .areas(screen.area());
        screen.render_widget(Paragraph::new(lines), top);
        self.chart(screen, chart, look);
        let told_lines: Vec<Line> = self
            .messages
            .iter()
            .map(|words| Line::raw(words.as_str()))
            .collect();
        screen.render_widget(Paragraph::new(told_lines).wrap(Wrap { trim: true }), told);
        screen.render_widget(Paragraph::new("q  end"), foot);
    }

    /// The level as a bar with its number and its fault.
    fn bar(&self, look: &Look) -> String {
        let share = self.level.map_or(0.0, |level| {
            ((level.mean.0 - BAR_FROM) / -BAR_FROM).clamp(0.0, 1.0)
        });
        let full = (share * BAR as f64).round() as usize;
        let (dark, light) = match look.glyphs {
            Glyphs::Braille => ("█", "░"),
            Glyphs::Plain => ("#", "."),
        };
        format!(
            "    level  {}{}  {}",
            dark.repeat(full),
            light.repeat(BAR - full),
            self.loudness().unwrap_or_default()
        )
    }

    fn advice(&self) -> Option<&'static str> {
        match self.condition {
            Condition::Fine => self.level?.fault().map(|fault| fault.hint()),
            Condition::Waiting | Condition::Muted => None,
        }
    }

    fn chart(&self, screen: &mut Frame, area: Rect, look: &Look) {
        let speeds = self.curve.iter().map(|(_, rpm)| *rpm);
        let low = speeds.clone().fold(f64::INFINITY, f64::min);
        let high = speeds.fold(0.0, f64::max);
        // A steady idle should look steady, so the axis never spans less than a thousand.
        let (low, high) = if low.is_finite() {
            let low = (low / 500.0).floor() * 500.0;
            (low, ((high / 500.0).ceil() * 500.0).max(low + 1_000.0))
        } else {
            (0.0, 10_000.0)
        };
        let end = self.now.0.max(SHOWN);
        let points: Vec<(f64, f64)> = self.curve.iter().copied().collect();
        let marker = match look.glyphs {
            Glyphs::Braille => Marker::Braille,
            Glyphs::Plain => Marker::Custom('*'),
        };
        let data = Dataset::default()
            .marker(marker)
            .graph_type(GraphType::Scatter)
            .data(&points);
        let chart = Chart::new(vec![data])
            .x_axis(
                Axis::default()
                    .bounds([end - SHOWN, end])
                    .labels([format!("{:.0} s", end - SHOWN), format!("{end:.0} s")]),
            )
            .y_axis(Axis::default().bounds([low, high]).labels([
                words::grouped(low),
                words::grouped(f64::midpoint(low, high)),
                words::grouped(high),
            ]));
        screen.render_widget(chart, area);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Meter;
    use crate::firing::{Firing, FiringKind};
    use crate::machine::Profile;
    use crate::procedure::Heard;
    use crate::reading::Frame as Reading;
    use crate::tach::{Speed, Unreadable};
    use crate::units::{Decibels, Rpm, Seconds};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn heard(t: f64, rpm: Option<f64>) -> Heard {
        let speed = rpm.map_or(Err(Unreadable::TooMuchNoise), |rpm| {
            Ok(Speed {
                rpm: Rpm(rpm),
                low: Rpm(rpm),
                high: Rpm(rpm),
                confidence: 1.0,
                other: None,
            })
        });
        let firing = Firing {
            kind: FiringKind::FourStroking,
            skip_ratio: Some(0.4),
            pattern: None,
            sub_order: None,
            variation: None,
        };
        Heard {
            frame: Reading {
                t: Seconds(t),
                speed,
                firing,
                level: Decibels(-20.0),
                clipped: 0.0,
            },
            skip_ratio: Some(0.42),
        }
    }

    fn panel(rpm: impl Fn(f64) -> Option<f64>) -> Panel {
        let toml = "[speeds]\nfull_throttle = [9000, 9800]\n";
        let machine = Profile::from_toml(toml).unwrap();
        let mut panel = Panel::new("bench".into(), Some("kept.wav".into()), &machine);
        for n in 0..500 {
            let t = 0.016 * f64::from(n);
            panel.hear(heard(t, rpm(t)));
            panel.now = Seconds(t + 0.2);
        }
        let mut meter = Meter::new(8_000, 1);
        let tone = |n: i32| 0.1 * (f64::from(n) * 0.2).sin() as f32;
        meter.push(&(0..8_000).map(tone).collect::<Vec<f32>>());
        panel.level = meter.level();
        panel
    }

    fn screen(panel: &Panel, width: u16, height: u16, glyphs: Glyphs) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        let look = Look {
            glyphs,
            ..Look::default()
        };
        terminal.draw(|frame| panel.draw(frame, &look)).unwrap();
        terminal.backend().to_string()
    }

    #[test]
    fn the_screen_says_what_is_heard_in_words() {
        let mut panel = panel(|_| Some(9_412.0));
        panel.tell("the microphone is gone\u{1b}[2J");
        panel.dropped = Seconds(0.25);
        let shown = screen(&panel, 80, 24, Glyphs::Braille);
        for words in [
            "bench",
            "kept in kept.wav",
            "9,410 rpm",
            "steady ±0 rpm in 3 s",
            "four-stroking, 42 % of turns skipped",
            "-23 dB",
            "0.25 s of sound lost",
            "the microphone is gone\u{fffd}[2J",
            "9,000",
            "q  end",
        ] {
            assert!(shown.contains(words), "`{words}` is not in\n{shown}");
        }
        assert!(
            shown
                .chars()
                .any(|c| ('\u{2801}'..='\u{28ff}').contains(&c)),
            "{shown}"
        );
        let plain = screen(&panel, 80, 24, Glyphs::Plain);
        assert!(
            !plain
                .chars()
                .any(|c| ('\u{2580}'..='\u{28ff}').contains(&c)),
            "{plain}"
        );
    }

    #[test]
    fn a_speed_over_the_maximum_cannot_be_overlooked() {
        let over = panel(|_| Some(10_020.0));
        let words = "OVER THE MAXIMUM OF 9,800 rpm: close the throttle";
        assert!(screen(&over, 80, 24, Glyphs::Braille).contains(words));
        assert!(over.line().contains(words), "{}", over.line());
        assert!(!panel(|_| Some(9_700.0)).line().contains("OVER"));
    }

    #[test]
    fn what_is_not_readable_has_a_reason_and_no_number() {
        let line = panel(|t| (t < 4.0).then_some(3_000.0)).line();
        assert!(
            line.contains("- rpm  not readable: too much noise"),
            "{line}"
        );
        let mut lost = panel(|_| Some(3_000.0));
        lost.condition = Condition::Waiting;
        assert!(lost.line().contains("waiting for the microphone"));
    }

    #[test]
    fn the_smallest_terminals_are_survived() {
        let mut panel = panel(|t| Some(3_000.0 + 500.0 * t));
        (0..9).for_each(|n| panel.tell(&format!("message {n}")));
        for (width, height) in [(1, 1), (10, 3), (40, 10), (300, 80)] {
            screen(&panel, width, height, Glyphs::Braille);
        }
    }
}
