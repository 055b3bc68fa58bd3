//! The colours of a picture. They differ in lightness too, and none of them says anything alone.
use plotters::style::RGBColor;

/// Light or dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Theme {
    /// Black on white, as it prints.
    Light,
    /// White on black.
    Dark,
}

/// What something is drawn with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// The ground.
    Paper,
    /// Lines and words.
    Black,
    /// Words beside the point.
    Soft,
    /// The grid.
    Grid,
    /// An interval.
    Band,
    /// Marks over what was heard.
    Mark,
}

impl Ink {
    const ALL: [Ink; 6] = [
        Ink::Paper,
        Ink::Black,
        Ink::Soft,
        Ink::Grid,
        Ink::Band,
        Ink::Mark,
    ];

    pub(super) fn colour(self, theme: Theme) -> RGBColor {
        let (light, dark) = match self {
            Ink::Paper => (0x00ff_ffff, 0x0016_1616),
            Ink::Black => (0x0000_0000, 0x00f2_f2f2),
            Ink::Soft => (0x0045_4545, 0x00c0_c0c0),
            Ink::Grid => (0x00c9_c9c9, 0x004d_4d4d),
            Ink::Band => (0x009c_c3e6, 0x002f_6493),
            Ink::Mark => (0x00b2_3a00, 0x00ff_b270),
        };
        let colour: u32 = match theme {
            Theme::Light => light,
            Theme::Dark => dark,
        };
        let [_, red, green, blue] = colour.to_be_bytes();
        RGBColor(red, green, blue)
    }
}

/// The shade of a height from 0, the paper, to `most`, the ink.
pub(super) fn shade(at: u8, most: u8, theme: Theme) -> [u8; 3] {
    let (RGBColor(r, g, b), RGBColor(x, y, z)) =
        (Ink::Paper.colour(theme), Ink::Black.colour(theme));
    [(r, x), (g, y), (b, z)].map(|(paper, ink)| {
        let way = f64::from(ink) - f64::from(paper);
        (f64::from(paper) + way * f64::from(at) / f64::from(most)).round() as u8
    })
}

/// Style of an SVG in light colours that makes it follow the screen's own setting. Paper is always
/// light.
pub(super) fn style(class: &str) -> String {
    let hex = |RGBColor(r, g, b): RGBColor| format!("#{r:02X}{g:02X}{b:02X}");
    let mut out = String::from("@media screen and (prefers-color-scheme: dark){");
    for ink in Ink::ALL {
        let (light, dark) = (hex(ink.colour(Theme::Light)), hex(ink.colour(Theme::Dark)));
        for what in ["fill", "stroke"] {
            out.push_str(&format!(".{class} [{what}=\"{light}\"]{{{what}:{dark}}}"));
        }
    }
    // From white and black to the paper and the ink of the dark.
    out.push_str(&format!(".{class} image{{filter:invert(.93)}}}}"));
    out
}
