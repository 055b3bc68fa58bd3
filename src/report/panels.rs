//! The panels of a picture, drawn with a [`Pen`].
use plotters::prelude::DrawingBackend;

use super::column::{Column, HERTZ_STEP, ROWS_AN_ORDER};
use super::course::Course;
use super::heat::Heat;
use super::layout::{Layout, Panel};
use super::palette::Ink;
use super::pen::{Pen, Plot, Side};
use super::picture::PictureError;
use super::plot::known;
use super::result::Report;
use super::words;
use crate::firing::FiringKind;
use crate::units::Seconds;

/// Dashes of what was read over what was heard, and gaps, through which it is seen.
const DASHES: (f64, f64) = (7.0, 9.0);
/// Units between dots and crosses.
const APART: f64 = 5.0;

/// A run of neighbouring cells.
pub(super) struct Run<T> {
    pub(super) value: T,
    from: usize,
    to: usize,
}

/// The panels of a picture with all that they show.
pub(super) struct Panels<'a> {
    pub(super) report: &'a Report,
    pub(super) layout: &'a Layout,
    pub(super) cells: Vec<Column>,
    pub(super) pooled: bool,
    pub(super) each: Seconds,
    pub(super) time: (f64, f64),
    plots: Vec<(Panel, Plot)>,
}

impl<'a> Panels<'a> {
    pub(super) fn new(course: &Course, report: &'a Report, layout: &'a Layout) -> Self {
        let wide = layout.width - layout.left - layout.right;
        let count = course.columns().len().min(wide as usize);
        let (begin, end) = course
            .extent()
            .map_or((0.0, report.clip.seconds), |(begin, end)| (begin.0, end.0));
        let time = (begin, end.max(begin + 1e-3));
        let cells = course.cells(count);
        let mut panels = Panels {
            report,
            layout,
            pooled: course.frames_each() > 1 || count < course.columns().len(),
            each: Seconds((time.1 - time.0) / count.max(1) as f64),
            cells,
            time,
            plots: vec![],
        };
        let mut top = layout.title;
        for (panel, height) in layout.panels {
            top += layout.heading;
            let values = panels.values(*panel);
            let plot = Plot {
                left: layout.left,
                right: layout.width - layout.right,
                top,
                bottom: top + height,
                time: time.0..time.1,
                values: values.0..values.1,
            };
            panels.plots.push((*panel, plot));
            top += height;
        }
        panels
    }

    /// The images, and the plots that they fill.
    pub(super) fn heats(&self) -> Vec<(&Plot, Heat)> {
        let heats = self.plots.iter().filter_map(|(panel, plot)| {
            let heat = match panel {
                Panel::Hertz => {
                    let rows = (plot.values.end / HERTZ_STEP) as usize + 1;
                    Heat::of(&self.cells, rows, Column::by_frequency)
                }
                Panel::Orders => {
                    let rows = plot.values.end as usize * ROWS_AN_ORDER + 1;
                    Heat::of(&self.cells, rows, Column::by_order)
                }
                _ => return None,
            };
            Some((plot, heat))
        });
        heats.filter(|_| !self.cells.is_empty()).collect()
    }

    /// Draws everything but the images.
    pub(super) fn draw<DB: DrawingBackend>(&self, pen: &Pen<DB>) -> Result<(), PictureError> {
        self.title(pen)?;
        for (at, (panel, plot)) in self.plots.iter().enumerate() {
            self.heading(pen, *panel, plot)?;
            match panel {
                Panel::Speed => self.speed(pen, plot)?,
                Panel::Hertz => self.hertz(pen, plot)?,
                Panel::Orders => self.orders(pen, plot)?,
                Panel::Firing => self.firing(pen, plot)?,
                Panel::Skips => {
                    let skips = |cell: &Column| cell.skip_ratio().map(|share| 100.0 * share);
                    self.curve(pen, plot, &skips)?;
                }
                Panel::Level => {
                    let level = |cell: &Column| cell.level().map(|level| level.0);
                    self.curve(pen, plot, &level)?;
                }
                Panel::Clipping => self.clipping(pen, plot)?,
            }
            self.axes(pen, *panel, plot, at + 1 == self.plots.len())?;
        }
        Ok(())
    }

    /// Middle of a cell.
    fn x(&self, plot: &Plot, cell: usize) -> f64 {
        self.edge(plot, cell as f64 + 0.5)
    }

    /// The left edge of a cell.
    fn edge(&self, plot: &Plot, cell: f64) -> f64 {
        plot.left + (plot.right - plot.left) * cell / self.cells.len().max(1) as f64
    }

    /// Runs of neighbours with the same value; without those that have none.
    pub(super) fn runs<T: PartialEq>(&self, value: impl Fn(&Column) -> Option<T>) -> Vec<Run<T>> {
        let mut runs: Vec<Run<T>> = vec![];
        for (at, cell) in self.cells.iter().enumerate() {
            let Some(value) = value(cell) else { continue };
            match runs.last_mut() {
                Some(run) if run.to == at && run.value == value => run.to += 1,
                _ => runs.push(Run {
                    value,
                    from: at,
                    to: at + 1,
                }),
            }
        }
        runs
    }

    /// Hatches the stretches without a speed and says why where there is room.
    fn refused<DB: DrawingBackend>(&self, pen: &Pen<DB>, plot: &Plot) -> Result<(), PictureError> {
        for run in self.runs(|cell| cell.refused().map(|_| ())) {
            let (left, right) = self.ends(plot, &run);
            pen.hatch((left, plot.top), (right, plot.bottom))?;
        }
        for run in self.runs(Column::refused) {
            let (left, right) = self.ends(plot, &run);
            let words = words::unreadable_short(run.value);
            let wide = pen.width(words, 0.9);
            if right - left > wide + 8.0 {
                let (x, y) = ((left + right) / 2.0, (plot.top + plot.bottom) / 2.0);
                let high = 0.75 * pen.letters;
                pen.bar(
                    (x - wide / 2.0 - 3.0, y - high),
                    (x + wide / 2.0 + 3.0, y + high),
                    Ink::Paper,
                )?;
                pen.words((x, y), words, Side::Middle, 0.9, Ink::Black)?;
            }
        }
        Ok(())
    }

    pub(super) fn ends<T>(&self, plot: &Plot, run: &Run<T>) -> (f64, f64) {
        (
            self.edge(plot, run.from as f64),
            self.edge(plot, run.to as f64),
        )
    }

    fn speed<DB: DrawingBackend>(&self, pen: &Pen<DB>, plot: &Plot) -> Result<(), PictureError> {
        for run in self.runs(|cell| cell.interval().map(|_| ())) {
            let cells =
                || (run.from..run.to).map(|at| (self.x(plot, at), self.cells[at].interval()));
            let upper = cells().filter_map(|(x, ends)| Some((x, plot.y(ends?.1.0))));
            let lower = cells().filter_map(|(x, ends)| Some((x, plot.y(ends?.0.0))));
            let mut band: Vec<_> = upper.collect();
            let lower: Vec<_> = lower.collect();
            band.extend(lower.into_iter().rev());
            pen.shape(&band, Ink::Band)?;
        }
        self.refused(pen, plot)?;
        for (name, rpm) in known(&self.report.machine) {
            if plot.values.contains(&rpm) && self.layout.explained {
                let y = plot.y(rpm);
                let across = [(plot.left, y), (plot.right, y)];
                pen.dashes(&across, (3.0, 5.0), Ink::Soft, 0.7)?;
                let words = format!("◂ {name}");
                pen.words((plot.right + 3.0, y), &words, Side::Left, 0.9, Ink::Black)?;
            }
        }
        let doubtful = |cell: &Column| 2 * cell.doubtful > cell.readable();
        for run in self.runs(|cell| cell.speed().map(|_| doubtful(cell))) {
            let mut line: Vec<_> = (run.from..run.to)
                .filter_map(|at| Some((self.x(plot, at), plot.y(self.cells[at].speed()?.0))))
                .collect();
            if run.value {
                let mut last = f64::MIN;
                line.retain(|(x, _)| {
                    let far = x - last >= APART;
                    last = if far { *x } else { last };
                    far
                });
                for (x, y) in line {
                    pen.bar((x - 1.2, y - 1.2), (x + 1.2, y + 1.2), Ink::Black)?;
                }
            } else {
                if line.len() == 1 {
                    line.push((line[0].0 + 1.0, line[0].1));
                }
                pen.line(&line, Ink::Black, 1.4)?;
            }
        }
        let mut last = f64::MIN;
        for at in 0..self.cells.len() {
            let x = self.x(plot, at);
            let other = self.cells[at]
                .other()
                .filter(|o| plot.values.contains(&o.0));
            if let Some(other) = other.filter(|_| x - last >= 2.0 * APART) {
                let y = plot.y(other.0);
                pen.line(&[(x - 2.5, y - 2.5), (x + 2.5, y + 2.5)], Ink::Black, 0.8)?;
                pen.line(&[(x - 2.5, y + 2.5), (x + 2.5, y - 2.5)], Ink::Black, 0.8)?;
                last = x;
            }
        }
        Ok(())
    }

    fn hertz<DB: DrawingBackend>(&self, pen: &Pen<DB>, plot: &Plot) -> Result<(), PictureError> {
        for run in self.runs(|cell| cell.speed().map(|_| ())) {
            let line: Vec<_> = (run.from..run.to)
                .filter_map(|at| {
                    let hertz = self.cells[at].speed()?.hertz().0;
                    (hertz < plot.values.end).then(|| (self.x(plot, at), plot.y(hertz)))
                })
                .collect();
            self.mark(pen, &line)?;
        }
        for run in self.runs(|cell| cell.refused().map(|_| ())) {
            let (left, right) = self.ends(plot, &run);
            pen.bar((left, plot.top), (right, plot.top + 9.0), Ink::Paper)?;
            pen.hatch((left, plot.top), (right, plot.top + 9.0))?;
        }
        let last = self.cells.iter().rev().find_map(Column::speed);
        if let Some(rpm) = last.filter(|rpm| plot.values.contains(&rpm.hertz().0)) {
            let at = (plot.right + 3.0, plot.y(rpm.hertz().0));
            pen.words(at, "◂ order 1", Side::Left, 0.9, Ink::Black)?;
        }
        Ok(())
    }

    /// Dashes over an image, on their own ground, so that they show on light and dark.
    fn mark<DB: DrawingBackend>(
        &self,
        pen: &Pen<DB>,
        line: &[(f64, f64)],
    ) -> Result<(), PictureError> {
        pen.dashes(line, DASHES, Ink::Paper, 3.6)?;
        pen.dashes(line, DASHES, Ink::Mark, 1.6)
    }

    fn orders<DB: DrawingBackend>(&self, pen: &Pen<DB>, plot: &Plot) -> Result<(), PictureError> {
        self.refused(pen, plot)?;
        let firings = self.report.machine.firings_per_revolution();
        let level = |run: &Run<()>, order: f64| {
            let (left, right) = self.ends(plot, run);
            [(left, plot.y(order)), (right, plot.y(order))]
        };
        for run in self.runs(|cell| cell.speed().map(|_| ())) {
            self.mark(pen, &level(&run, firings))?;
        }
        let skipping = |cell: &Column| {
            let share = cell.share(FiringKind::FourStroking) + cell.share(FiringKind::Limiter);
            (share > 0.5).then_some(())
        };
        let skips = self.runs(skipping);
        for run in &skips {
            self.mark(pen, &level(run, firings / 2.0))?;
        }
        for half in 0..=(2.0 * plot.values.end) as usize {
            let y = plot.y(half as f64 / 2.0);
            let long = if half % 2 == 0 { 5.0 } else { 3.0 };
            pen.line(&[(plot.right, y), (plot.right + long, y)], Ink::Black, 0.5)?;
        }
        for part in [3.0, 4.0] {
            let y = plot.y(firings / part);
            pen.line(&[(plot.right, y), (plot.right + 3.0, y)], Ink::Black, 0.5)?;
        }
        if self.layout.explained {
            let label = |order: f64, words: &str| {
                let at = (plot.right + 7.0, plot.y(order));
                pen.words(at, words, Side::Left, 0.9, Ink::Black)
            };
            label(firings, "◂ firing")?;
            if !skips.is_empty() {
                label(firings / 2.0, "◂ half, skipping")?;
                // The ticks of a third and a quarter lie too close for a label each.
                label(firings * 0.19, "   third, quarter")?;
            }
        }
        Ok(())
    }

    /// A line that follows a value, with gaps where there is none.
    fn curve<DB: DrawingBackend>(
        &self,
        pen: &Pen<DB>,
        plot: &Plot,
        value: &dyn Fn(&Column) -> Option<f64>,
    ) -> Result<(), PictureError> {
        for run in self.runs(|cell| value(cell).map(|_| ())) {
            let mut line: Vec<_> = (run.from..run.to)
                .filter_map(|at| Some((self.x(plot, at), plot.y(value(&self.cells[at])?))))
                .collect();
            if line.len() == 1 {
                line.push((line[0].0 + 1.0, line[0].1));
            }
            pen.line(&line, Ink::Black, 1.2)?;
        }
        Ok(())
    }

    fn clipping<DB: DrawingBackend>(&self, pen: &Pen<DB>, plot: &Plot) -> Result<(), PictureError> {
        let share = |cell: &Column| {
            let tenths = (cell.clipped() * 1_000.0).ceil() as u32;
            (tenths > 0).then_some(tenths)
        };
        for run in self.runs(share) {
            let (left, right) = self.ends(plot, &run);
            let top = plot.y(f64::from(run.value) / 10.0).min(plot.bottom - 1.0);
            pen.bar((left, top), (right, plot.bottom), Ink::Black)?;
        }
        Ok(())
    }
}
