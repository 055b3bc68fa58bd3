//! How much of a record fits on one printed page.
//!
//! The page prints in the smaller of A4 and Letter each way (210 mm wide, 279 mm high, less the
//! margins), so that either will do. Its height is reckoned from above, line by line; lists are then
//! shown as far as they fit, and say how much more the record holds.
use super::sheet::Sheet;

/// Height that may be filled, in mm: Letter less the margins of 9 mm, and a little air.
const PAGE_MM: f64 = 259.0;
/// Height of a line of text in small letters, in mm.
const LINE_MM: f64 = 3.28;
/// Height of a row of a table, and of a heading with the gap above it, in lines.
const ROW: f64 = 1.27;
const HEAD: f64 = 2.0;
/// Height of the place for a signature, in mm.
const SIGNATURE_MM: f64 = 9.5;
/// Heights of a picture: as wide as half the page allows, or smaller where there is much to say.
const PICTURES_MM: [u32; 4] = [58, 40, 28, 20];
/// The same for one that has the whole width for itself.
const ALONE_MM: [u32; 3] = [88, 72, 58];
/// Characters that fit on a line over half of the page and over all of it, in a wide typeface.
const HALF: f64 = 54.0;
const WHOLE: f64 = 112.0;

/// What is shown of the lists and pictures, and how large.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Room {
    /// Entries of a list at most, the one that says how many more there are among them.
    pub(super) entries: usize,
    /// Height of a picture at most, in mm.
    pub(super) picture_mm: u32,
    /// Size of the letters.
    pub(super) letters: Letters,
}

/// Size of the letters on paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Letters {
    /// Where there is little to say.
    Large,
    /// In between.
    Medium,
    /// Where there is much.
    Small,
}

impl Letters {
    /// How much larger than the small ones. The style says the same.
    fn scale(self) -> f64 {
        match self {
            Letters::Large => 1.25,
            Letters::Medium => 1.12,
            Letters::Small => 1.0,
        }
    }

    /// Its word in the style.
    pub(super) fn word(self) -> &'static str {
        match self {
            Letters::Large => "large",
            Letters::Medium => "medium",
            Letters::Small => "small-letters",
        }
    }
}

impl Room {
    /// As much as fits: all entries before large pictures, large pictures before large letters.
    pub(super) fn on_one_page(sheet: &Sheet) -> Room {
        let room = |entries, picture_mm, letters| Room {
            entries,
            picture_mm,
            letters,
        };
        let [half, .., small] = PICTURES_MM;
        let large: &[u32] = if sheet.pictures.len() == 1 {
            &ALONE_MM
        } else {
            &[half]
        };
        let letters = [Letters::Large, Letters::Medium, Letters::Small];
        let all = large
            .iter()
            .flat_map(|height| letters.map(|letters| room(30, *height, letters)));
        let smaller = PICTURES_MM
            .into_iter()
            .map(|height| room(30, height, Letters::Small));
        let fewer = (2..30)
            .rev()
            .map(|entries| room(entries, small, Letters::Small));
        all.chain(smaller)
            .chain(fewer)
            .find(|room| room.height(sheet) <= PAGE_MM)
            .unwrap_or(room(2, small, Letters::Small))
    }

    /// As many entries as fit, and how many more there are.
    pub(super) fn of<T: Clone>(self, entries: &[T]) -> (&[T], usize) {
        if entries.len() <= self.entries {
            (entries, 0)
        } else {
            let shown = self.entries.saturating_sub(1);
            (&entries[..shown], entries.len() - shown)
        }
    }

    /// The height of the page in mm, reckoned from above.
    fn height(self, sheet: &Sheet) -> f64 {
        let scale = self.letters.scale();
        let width = |characters: f64| (characters / scale) as usize;
        let (half, whole) = (width(HALF), width(WHOLE));
        let mut text = 0.6 + 1.8 * lines(&sheet.name, 36);
        let facts: f64 = sheet
            .facts
            .iter()
            .map(|(_, value)| lines(value, width(46.0)))
            .sum();
        text += (facts / 2.0).ceil() + 1.0;
        text += sheet
            .complaint
            .as_ref()
            .map_or(0.0, |words| lines(words, width(104.0)));
        text += HEAD
            + ROW
            + 1.0
            + sheet
                .how
                .iter()
                .map(|words| lines(words, whole))
                .sum::<f64>();
        for row in &sheet.figures {
            // Behind a value stands whether it is within.
            let cells = [
                (row.what, width(40.0)),
                (&row.figure, width(44.0)),
                (&row.before.words, width(14.0)),
                (&row.after.words, width(14.0)),
            ];
            let most = cells
                .iter()
                .map(|(words, width)| lines(words, *width))
                .fold(1.0, f64::max);
            text += ROW + most - 1.0;
        }
        if !sheet.advised.is_empty() {
            text += HEAD + self.lines(&sheet.advised, whole);
        }
        let block = |entries: &[String]| HEAD + self.lines(entries, half).max(1.0);
        text += block(&sheet.checked).max(block(&sheet.turned));
        if !sheet.proof.is_empty() {
            let (shown, more) = self.of(&sheet.proof);
            let rows: f64 = shown
                .iter()
                .map(|row| ROW + lines(&row.line, width(44.0)) - 1.0)
                .sum();
            text += HEAD + ROW + 1.0 + rows + if more > 0 { 1.0 } else { 0.0 };
        }
        let mut blocks = vec![];
        if !sheet.faults.is_empty() {
            blocks.push(block(&sheet.faults));
        }
        blocks.extend(sheet.notes.as_ref().map(|notes| HEAD + lines(notes, half)));
        blocks.push(block(&sheet.unchecked));
        if !sheet.clips.is_empty() {
            blocks.push(block(&sheet.clips));
        }
        text += blocks
            .chunks(2)
            .map(|pair| pair.iter().copied().fold(0.0, f64::max))
            .sum::<f64>();
        let cautions: f64 = sheet
            .cautions
            .iter()
            .map(|words| lines(words, width(62.0)))
            .sum();
        // Two columns, of which one may be an entry longer than the other.
        text += HEAD + 0.92 * (cautions / 2.0 + 1.5);
        text += HEAD + 1.0;
        let mut height = LINE_MM * scale * text + SIGNATURE_MM;
        if !sheet.pictures.is_empty() {
            let rows = sheet.pictures.len().div_ceil(2) as f64;
            let around = LINE_MM * scale;
            height += HEAD * around + rows * (f64::from(self.picture_mm) + 1.5 * around);
        }
        height
    }

    fn lines(self, entries: &[String], width: usize) -> f64 {
        let (shown, more) = self.of(entries);
        let all: f64 = shown.iter().map(|entry| lines(entry, width)).sum();
        all + if more > 0 { 1.0 } else { 0.0 }
    }
}

/// Lines that a text takes at a width in characters, reckoned from above: long words break badly.
fn lines(text: &str, width: usize) -> f64 {
    text.chars().count().div_ceil(width).max(1) as f64
}
