//! What is written around the panels of a picture: title, headings, how to read them, axes.
use plotters::prelude::DrawingBackend;

use super::heat::BLACK;
use super::layout::Panel;
use super::palette::Ink;
use super::panels::Panels;
use super::pen::{Axes, Pen, Plot, Side};
use super::picture::PictureError;
use super::text::sentence;
use super::words::{self, grouped, moment};
use crate::units::Seconds;

impl Panels<'_> {
    pub(super) fn title<DB: DrawingBackend>(&self, pen: &Pen<DB>) -> Result<(), PictureError> {
        if self.layout.title <= 0.0 {
            return Ok(());
        }
        let clip = &self.report.clip;
        let name = words::shown(&clip.path);
        let name: String = name
            .chars()
            .skip(name.chars().count().saturating_sub(76))
            .collect();
        let title = format!("{name} ({})", moment(Seconds(clip.seconds)));
        pen.words((14.0, 18.0), &title, Side::Left, 1.25, Ink::Black)?;
        let wide = 1.08 * (self.layout.width - 28.0) / pen.width("n", 1.0);
        let said = words::wrapped("", &sentence(self.report), wide as usize);
        for (line, words) in said.lines().take(2).enumerate() {
            let y = 42.0 + 18.0 * line as f64;
            let more = line == 1 && said.lines().count() > 2;
            let words = format!("{words}{}", if more { " …" } else { "" });
            pen.words((14.0, y), &words, Side::Left, 1.0, Ink::Black)?;
        }
        Ok(())
    }

    pub(super) fn heading<DB: DrawingBackend>(
        &self,
        pen: &Pen<DB>,
        panel: Panel,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let y = plot.top - 1.15 * pen.letters;
        let from = if self.layout.explained { 14.0 } else { 4.0 };
        pen.words((from, y), panel.title(), Side::Left, 1.08, Ink::Black)?;
        if self.layout.explained {
            let at = (plot.right, y);
            pen.words(at, &self.explained(panel), Side::Right, 0.86, Ink::Soft)?;
        }
        Ok(())
    }

    /// How to read a panel.
    fn explained(&self, panel: Panel) -> String {
        match panel {
            Panel::Speed if self.pooled => format!(
                "line: mean of {}; band: all 95 % intervals in it; dots: doubtful; crosses: fits as well; hatched: no speed",
                moment(self.each)
            ),
            Panel::Speed => {
                "line: as read; band: 95 % interval; dots: doubtful; crosses: fits as well; hatched: no speed"
                    .into()
            }
            Panel::Hertz => format!(
                "full shade: {:.0} dB or more over the floor; dashes: order 1 of the speed as read; hatched edge: no speed",
                10.0 * BLACK
            ),
            Panel::Orders => {
                "whole orders lie straight where the speed is right; only even ones: it may be double".into()
            }
            Panel::Firing => "height of a bar: share of the time".into(),
            Panel::Skips => "share of the turns without a full firing".into(),
            Panel::Level => "0 is full scale".into(),
            Panel::Clipping => "share of the samples at full scale; blank: none".into(),
        }
    }

    pub(super) fn axes<DB: DrawingBackend>(
        &self,
        pen: &Pen<DB>,
        panel: Panel,
        plot: &Plot,
        last: bool,
    ) -> Result<(), PictureError> {
        let length = self.time.1 - self.time.0;
        let (unit, name) = match length {
            length if length < 180.0 => (1.0, "s"),
            length if length < 10_800.0 => (60.0, "min"),
            _ => (3_600.0, "h"),
        };
        let decimals = usize::from(length / unit < 6.0);
        let times = |t: f64| {
            // What is next to nothing below zero is zero.
            let t = if t.abs() < 1e-9 { 0.0 } else { t };
            let more = usize::from((t * 10f64.powi(decimals as i32)).fract().abs() > 1e-6);
            format!("{t:.*} {name}", decimals + more)
        };
        let values: &dyn Fn(f64) -> String = match panel {
            Panel::Firing => &|_| String::new(),
            Panel::Clipping | Panel::Speed | Panel::Hertz | Panel::Skips | Panel::Level => {
                &|value| grouped(value)
            }
            Panel::Orders => &|value| format!("{value:.0}"),
        };
        let count = match panel {
            Panel::Speed if self.layout.explained => 8,
            Panel::Speed => 4,
            Panel::Hertz => 6,
            Panel::Orders => plot.values.end as usize + 1,
            Panel::Firing | Panel::Clipping => 2,
            Panel::Skips => 3,
            Panel::Level => 4,
        };
        let axes = Axes {
            values,
            count,
            grid: !matches!(panel, Panel::Hertz | Panel::Orders | Panel::Firing),
            times: last.then_some(&times as &dyn Fn(f64) -> String),
            unit,
        };
        pen.axes(plot, &axes)
    }
}
