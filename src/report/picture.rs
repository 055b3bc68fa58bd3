//! The picture of a clip: what was heard over a shared time axis, so that a person can check the
//! reading with it.
//!
//! As SVG it follows the light or dark setting of the screen and prints black on white; the words of the
//! reading are its title and description. As PNG it has [`Drawing::PNG_SIZE`].
use std::sync::OnceLock;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use plotters::drawing::IntoDrawingArea;
use plotters::prelude::{BitMapBackend, SVGBackend};
use plotters::style::{FontStyle, RGBColor, register_font};
use thiserror::Error;

use super::course::Course;
use super::layout::{Layout, Panel};
use super::palette::{Ink, Theme, style};
use super::panels::Panels;
use super::pen::{Pen, SCALE};
use super::pixels::packed;
use super::result::Report;
use super::sheet::Picture;
use super::text::{sentence, span_words};
use super::words::{self, capital, moment};
use crate::units::Seconds;

/// Spans that the description tells.
const MOST_SPANS: usize = 12;
/// The same on a job sheet, where the table stands beside it.
const MOST_SPANS_ON_SHEET: usize = 4;
/// By which its style knows an SVG of ours wherever it is put.
const CLASS: &str = "engine-note-picture";

/// Why there is no picture.
#[derive(Debug, Error)]
pub enum PictureError {
    /// The drawing library refuses.
    #[error("the picture cannot be drawn: {0}")]
    Drawing(String),
    /// The image cannot be packed.
    #[error("the picture cannot be packed: {0}")]
    Packing(#[from] png::EncodingError),
}

impl PictureError {
    /// What to do.
    pub fn hint(&self) -> &'static str {
        match self {
            PictureError::Drawing(_) => "try the other kind of file, .svg or .png",
            PictureError::Packing(_) => "try again with more memory free, or as .svg",
        }
    }
}

/// A picture to be drawn.
pub struct Drawing<'a> {
    course: &'a Course,
    report: &'a Report,
}

impl<'a> Drawing<'a> {
    /// Width and height of the PNG, in pixels.
    pub const PNG_SIZE: (u32, u32) = (
        (Layout::WHOLE.width * SCALE) as u32,
        (Layout::WHOLE.height() * SCALE) as u32,
    );

    /// Of the course of a clip and what was read in it.
    pub fn new(course: &'a Course, report: &'a Report) -> Self {
        Drawing { course, report }
    }

    /// As an SVG that needs nothing else. Without a theme it is as the screen is set.
    ///
    /// # Errors
    /// Where the drawing library fails.
    pub fn svg(&self, theme: Option<Theme>) -> Result<String, PictureError> {
        self.drawn(&Layout::WHOLE, theme, &self.words(MOST_SPANS))
    }

    /// As a PNG.
    ///
    /// # Errors
    /// Where the drawing library or the encoder fails.
    pub fn png(&self, theme: Theme) -> Result<Vec<u8>, PictureError> {
        letters()?;
        let layout = Layout::WHOLE;
        let (width, height) = Self::PNG_SIZE;
        let RGBColor(red, green, blue) = Ink::Paper.colour(theme);
        let mut buffer = [red, green, blue].repeat((width * height) as usize);
        let panels = Panels::new(self.course, self.report, &layout);
        for (plot, heat) in panels.heats() {
            let place = |x: f64, y: f64| ((x * SCALE) as usize, (y * SCALE) as usize);
            heat.paint(
                &mut buffer,
                width as usize,
                place(plot.left, plot.top),
                place(plot.right, plot.bottom),
                theme,
            );
        }
        {
            let ground = BitMapBackend::with_buffer(&mut buffer, (width, height));
            let area = ground.into_drawing_area();
            let pen = Pen {
                area: &area,
                theme,
                letters: layout.letters,
            };
            panels.draw(&pen)?;
        }
        let words = [
            ("Title", self.title()),
            ("Description", self.words(MOST_SPANS)),
        ];
        packed(&buffer, (width, height), words)
    }

    /// As a picture for a job sheet, smaller and with fewer panels.
    ///
    /// # Errors
    /// As for [`Drawing::svg`].
    pub fn for_sheet(&self, title: String) -> Result<Picture, PictureError> {
        let words = self.words(MOST_SPANS_ON_SHEET);
        Ok(Picture {
            title,
            svg: self.drawn(&Layout::SHEET, None, &words)?,
            words,
        })
    }

    fn drawn(
        &self,
        layout: &Layout,
        theme: Option<Theme>,
        words: &str,
    ) -> Result<String, PictureError> {
        letters()?;
        let fixed = theme.unwrap_or(Theme::Light);
        let size = (
            (layout.width * SCALE) as u32,
            (layout.height() * SCALE) as u32,
        );
        let panels = Panels::new(self.course, self.report, layout);
        let mut drawn = String::new();
        {
            let area = SVGBackend::with_string(&mut drawn, size).into_drawing_area();
            let pen = Pen {
                area: &area,
                theme: fixed,
                letters: layout.letters,
            };
            panels.draw(&pen)?;
            area.present()
                .map_err(|error| PictureError::Drawing(error.to_string()))?;
        }
        // The library's own head gives way to one with words, style, ground and images under the rest.
        let body = drawn
            .split_once('>')
            .map_or(drawn.as_str(), |(_, body)| body);
        let (width, height) = size;
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"{CLASS}\" role=\"img\" width=\"{}\" height=\"{}\" \
             viewBox=\"0 0 {width} {height}\">\n<title>{}</title>\n<desc>{}</desc>\n",
            layout.width,
            layout.height(),
            escaped(&self.title()),
            escaped(words)
        );
        if theme.is_none() {
            out.push_str(&format!("<style>{}</style>\n", style(CLASS)));
        }
        let RGBColor(red, green, blue) = Ink::Paper.colour(fixed);
        out.push_str(&format!(
            "<rect width=\"{width}\" height=\"{height}\" fill=\"#{red:02X}{green:02X}{blue:02X}\"/>\n"
        ));
        for (plot, heat) in panels.heats() {
            out.push_str(&format!(
                "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" \
                 href=\"data:image/png;base64,{}\"/>\n",
                plot.left * SCALE,
                plot.top * SCALE,
                (plot.right - plot.left) * SCALE,
                (plot.bottom - plot.top) * SCALE,
                STANDARD.encode(heat.png(fixed)?)
            ));
        }
        out.push_str(body);
        Ok(out)
    }

    fn title(&self) -> String {
        let clip = &self.report.clip;
        let name = words::shown(&clip.path);
        format!("{name} ({})", moment(Seconds(clip.seconds)))
    }

    /// The reading in words, for those who do not see the picture.
    fn words(&self, most: usize) -> String {
        let mut out = sentence(self.report);
        let spans = &self.report.reading.spans;
        for span in spans.iter().take(most) {
            let what = match span.unreadable {
                Some(reason) if span.rpm.is_none() => {
                    format!("{}: {}", words::span(span.kind), words::unreadable(reason))
                }
                _ => span_words(span),
            };
            out.push_str(&format!(
                " From {} to {}: {}.",
                moment(span.start),
                moment(span.end),
                what
            ));
        }
        if spans.len() > most {
            out.push_str(&format!(" {} more stretches follow.", spans.len() - most));
        }
        if let Some(level) = self.report.reading.level_dbfs {
            out.push_str(&format!(" Level {:.0} dBFS", level.0));
            out.push_str(&match self.report.reading.clipped_pct {
                0.0 => ", nothing clipped.".to_string(),
                share => format!(", {share:.1} % of the samples clipped."),
            });
        }
        capital(&out)
    }
}

impl Panel {
    /// Its heading: what it shows, and in which unit.
    pub(super) fn title(self) -> &'static str {
        match self {
            Panel::Speed => "Crank speed, rpm",
            Panel::Hertz => "Sound by frequency, Hz",
            Panel::Orders => "Sound by engine order (1 = once a turn)",
            Panel::Firing => "Firing",
            Panel::Skips => "Turns skipped, %",
            Panel::Level => "Level, dBFS",
            Panel::Clipping => "Samples clipped, %",
        }
    }
}

/// Gives the drawing library its letters, which come with the program.
fn letters() -> Result<(), PictureError> {
    static DONE: OnceLock<bool> = OnceLock::new();
    let done = DONE.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, dejavu::sans::regular()).is_ok()
    });
    if *done {
        Ok(())
    } else {
        Err(PictureError::Drawing("its letters cannot be read".into()))
    }
}

/// Text between tags. What XML cannot hold at all is replaced.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}
