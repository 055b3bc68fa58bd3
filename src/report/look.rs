//! How text is shown: how wide, in colour or not, with which characters.
use console::Style;

/// Characters for the chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Glyphs {
    /// Braille dots and box lines.
    Braille,
    /// Nothing beyond ASCII, for terminals that cannot show more.
    Plain,
}

/// What a piece of text is, for those who see colour; its words say the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// A heading or the sentence that matters most.
    Strong,
    /// As it should be.
    Calm,
    /// Worth a look.
    Notable,
    /// Dangerous.
    Alarming,
    /// Beside the point.
    Faint,
}

/// How text is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Columns of the terminal that may be used, 40 or more.
    pub width: usize,
    /// Whether colour may be used.
    pub colour: bool,
    /// Characters for the chart.
    pub glyphs: Glyphs,
}

impl Look {
    /// Text in its tone; unchanged without colour.
    pub fn paint(&self, tone: Tone, text: &str) -> String {
        if !self.colour || text.trim().is_empty() {
            return text.to_string();
        }
        let style = Style::new().force_styling(true);
        let style = match tone {
            Tone::Strong => style.bold(),
            Tone::Calm => style.green(),
            Tone::Notable => style.yellow(),
            Tone::Alarming => style.red().bold(),
            Tone::Faint => style.dim(),
        };
        style.apply_to(text).to_string()
    }
}

impl Default for Look {
    /// 80 columns, no colour, Braille.
    fn default() -> Self {
        Look {
            width: 80,
            colour: false,
            glyphs: Glyphs::Braille,
        }
    }
}
