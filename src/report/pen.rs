//! Draws with the plotting library, on whichever ground it draws.
use std::fmt::Display;
use std::ops::Range;

use plotters::chart::{ChartBuilder, LabelAreaPosition};
use plotters::coord::Shift;
use plotters::drawing::DrawingArea;
use plotters::element::{PathElement, Polygon, Rectangle, Text};
use plotters::prelude::DrawingBackend;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, ShapeStyle};

use super::palette::{Ink, Theme};
use super::picture::PictureError;

/// Points of the ground for each unit of the layout.
pub(super) const SCALE: f64 = 2.0;
/// Units between the strokes of a hatch.
const HATCH: f64 = 7.0;

/// A rectangle with axes: time across, something else up.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Plot {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    /// In seconds.
    pub(super) time: Range<f64>,
    pub(super) values: Range<f64>,
}

impl Plot {
    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.values.start) / (self.values.end - self.values.start);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }
}

/// What is written beside the axes.
pub(super) struct Axes<'a> {
    pub(super) values: &'a dyn Fn(f64) -> String,
    /// Values with a word, about so many.
    pub(super) count: usize,
    /// Lines across at the values.
    pub(super) grid: bool,
    /// Times below.
    pub(super) times: Option<&'a dyn Fn(f64) -> String>,
    /// Seconds in the unit of the time axis.
    pub(super) unit: f64,
}

/// Where words stand against their place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Middle,
    Right,
}

/// Draws in units of the layout.
pub(super) struct Pen<'a, DB: DrawingBackend> {
    pub(super) area: &'a DrawingArea<DB, Shift>,
    pub(super) theme: Theme,
    /// Height of the letters.
    pub(super) letters: f64,
}

fn failed(error: impl Display) -> PictureError {
    PictureError::Drawing(error.to_string())
}

fn points(value: f64) -> i32 {
    (value * SCALE).round() as i32
}

impl<DB: DrawingBackend> Pen<'_, DB> {
    fn style(&self, ink: Ink, width: f64) -> ShapeStyle {
        ShapeStyle {
            color: ink.colour(self.theme).to_rgba(),
            filled: true,
            stroke_width: points(width).max(1) as u32,
        }
    }

    /// A line through places.
    pub(super) fn line(
        &self,
        places: &[(f64, f64)],
        ink: Ink,
        width: f64,
    ) -> Result<(), PictureError> {
        let places: Vec<_> = places
            .iter()
            .map(|(x, y)| (points(*x), points(*y)))
            .collect();
        let path = PathElement::new(places, self.style(ink, width));
        self.area.draw(&path).map_err(failed)
    }

    /// A line with gaps: `on` units drawn, `off` units left out, the same everywhere on the ground.
    pub(super) fn dashes(
        &self,
        places: &[(f64, f64)],
        (on, off): (f64, f64),
        ink: Ink,
        width: f64,
    ) -> Result<(), PictureError> {
        let inside = |x: f64| x.rem_euclid(on + off) < on;
        let mut dash: Vec<(f64, f64)> = vec![];
        for pair in places.windows(2) {
            let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
            let steps = (x1 - x0).abs().ceil().max(1.0);
            for step in 0..steps as usize {
                let share = step as f64 / steps;
                let place = (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share);
                if inside(place.0) {
                    dash.push(place);
                } else if !dash.is_empty() {
                    self.line(&dash, ink, width)?;
                    dash.clear();
                }
            }
        }
        if dash.len() > 1 {
            self.line(&dash, ink, width)?;
        }
        Ok(())
    }

    /// A filled shape.
    pub(super) fn shape(&self, places: &[(f64, f64)], ink: Ink) -> Result<(), PictureError> {
        let places: Vec<_> = places
            .iter()
            .map(|(x, y)| (points(*x), points(*y)))
            .collect();
        let shape = Polygon::new(places, self.style(ink, 1.0));
        self.area.draw(&shape).map_err(failed)
    }

    /// A filled rectangle, one point wide and high at least.
    pub(super) fn bar(
        &self,
        (left, top): (f64, f64),
        (right, bottom): (f64, f64),
        ink: Ink,
    ) -> Result<(), PictureError> {
        let from = (points(left), points(top));
        let to = (
            points(right).max(from.0 + 1),
            points(bottom).max(from.1 + 1),
        );
        let bar = Rectangle::new([from, to], self.style(ink, 1.0));
        self.area.draw(&bar).map_err(failed)
    }

    /// Slanting strokes over a rectangle; those of neighbours go on into each other.
    pub(super) fn hatch(
        &self,
        (left, top): (f64, f64),
        (right, bottom): (f64, f64),
    ) -> Result<(), PictureError> {
        // A stroke goes through all places with the same sum of x and y.
        let mut sum = ((left + top) / HATCH).ceil() * HATCH;
        while sum <= right + bottom {
            let x0 = left.max(sum - bottom);
            let x1 = right.min(sum - top);
            if x1 > x0 {
                self.line(&[(x0, sum - x0), (x1, sum - x1)], Ink::Soft, 0.5)?;
            }
            sum += HATCH;
        }
        Ok(())
    }

    /// Words, their middle at the height of the place; `size` against the usual letters.
    pub(super) fn words(
        &self,
        (x, y): (f64, f64),
        words: &str,
        side: Side,
        size: f64,
        ink: Ink,
    ) -> Result<(), PictureError> {
        let side = match side {
            Side::Left => HPos::Left,
            Side::Middle => HPos::Center,
            Side::Right => HPos::Right,
        };
        let style = ("sans-serif", self.letters * size * SCALE)
            .into_font()
            .color(&ink.colour(self.theme))
            .pos(Pos::new(side, VPos::Center));
        let text = Text::new(words.to_string(), (points(x), points(y)), style);
        self.area.draw(&text).map_err(failed)
    }

    /// How wide words are at most, in a wide typeface.
    pub(super) fn width(&self, words: &str, size: f64) -> f64 {
        0.56 * self.letters * size * words.chars().count() as f64
    }

    /// Axes and grid of a plot.
    pub(super) fn axes(&self, plot: &Plot, axes: &Axes) -> Result<(), PictureError> {
        let (left, below) = (plot.left, 3.0 * self.letters);
        let size = |value: f64| points(value);
        let area = self.area.clone().shrink(
            (0, points(plot.top)),
            (
                points(plot.right) + 1,
                points(plot.bottom) - points(plot.top) + size(below) + 1,
            ),
        );
        let times = plot.time.start / axes.unit..plot.time.end / axes.unit;
        let mut chart = ChartBuilder::on(&area)
            .set_label_area_size(LabelAreaPosition::Left, points(left))
            .set_label_area_size(LabelAreaPosition::Bottom, size(below))
            .build_cartesian_2d(times, plot.values.clone())
            .map_err(failed)?;
        let label = ("sans-serif", self.letters * SCALE)
            .into_font()
            .color(&Ink::Black.colour(self.theme));
        let grid = self.style(Ink::Grid, 0.5);
        let mut mesh = chart.configure_mesh();
        mesh.axis_style(self.style(Ink::Black, 0.5))
            .bold_line_style(grid)
            .max_light_lines(0)
            .label_style(label)
            .set_all_tick_mark_size(points(4.0))
            .x_labels(12)
            .y_labels(axes.count);
        let none = |_: &f64| String::new();
        let named = |t: &f64| axes.times.map_or_else(String::new, |words| words(*t));
        let values = |v: &f64| (axes.values)(*v);
        mesh.y_label_formatter(&values);
        if axes.times.is_some() {
            mesh.x_label_formatter(&named);
        } else {
            mesh.x_label_formatter(&none);
        }
        if !axes.grid {
            mesh.disable_mesh();
        }
        mesh.draw().map_err(failed)
    }
}
