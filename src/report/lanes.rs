//! The firing in a picture: a lane for each kind, a bar where it is heard.
use plotters::prelude::DrawingBackend;

use super::column::Column;
use super::palette::Ink;
use super::panels::Panels;
use super::pen::{Pen, Plot, Side};
use super::picture::PictureError;
use super::words;
use crate::firing::FiringKind;

/// Lanes of the firing, from the top.
pub(super) const LANES: [FiringKind; 5] = [
    FiringKind::Limiter,
    FiringKind::FourStroking,
    FiringKind::Clean,
    FiringKind::Unclear,
    FiringKind::None,
];

impl Panels<'_> {
    pub(super) fn firing<DB: DrawingBackend>(
        &self,
        pen: &Pen<DB>,
        plot: &Plot,
    ) -> Result<(), PictureError> {
        let high = (plot.bottom - plot.top) / LANES.len() as f64;
        for (lane, kind) in LANES.into_iter().enumerate() {
            let bottom = plot.top + (lane + 1) as f64 * high;
            let name = match kind {
                FiringKind::None => "no speed",
                FiringKind::Clean
                | FiringKind::FourStroking
                | FiringKind::Limiter
                | FiringKind::Unclear => words::firing(kind),
            };
            let at = (plot.left - 6.0, bottom - high / 2.0);
            pen.words(at, name, Side::Right, 0.9, Ink::Black)?;
            pen.line(&[(plot.left, bottom), (plot.right, bottom)], Ink::Grid, 0.5)?;
            // A share in steps, so that neighbours become one bar.
            let step = |cell: &Column| {
                let share = (cell.share(kind) * 16.0).ceil() as u32;
                (share > 0).then_some(share)
            };
            for run in self.runs(step) {
                let (left, right) = self.ends(plot, &run);
                let top = bottom - (high - 3.0) * f64::from(run.value) / 16.0;
                if kind == FiringKind::None {
                    pen.hatch((left, top), (right, bottom - 1.0))?;
                } else {
                    pen.bar((left, top), (right, bottom - 1.0), Ink::Black)?;
                }
            }
        }
        Ok(())
    }
}
