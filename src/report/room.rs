//! How much of a record fits on one printed page.
//!
//! The page prints in the smaller of A4 and Letter each way (210 mm wide, 279 mm high, less the
//! margins), so that either will do. Its height is reckoned from above, line by line; lists are then
//! shown as far as they fit, and say how much more the record holds.
use super::sheet::Sheet;

/// Height that may be filled, in mm: Letter less the margins of 9 mm, and a little air.
const PAGE_MM: f64 = 258.0;
/// Height of a line of text, of a row of a table, and of a heading with the gap above it, in mm.
const LINE_MM: f64 = 3.3;
const ROW_MM: f64 = 4.2;
const HEAD_MM: f64 = 7.6;
/// Heights of a picture: as wide as half the page allows, or smaller where there is much to say.
const PICTURES_MM: [u32; 3] = [58, 38, 26];
/// Characters that fit on a line over half of the page and over all of it, in a wide typeface.
const HALF: usize = 52;
const WHOLE: usize = 108;

/// What is shown of the lists and pictures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Room {
    /// Entries of a list at most, the one that says how many more there are among them.
    pub(super) entries: usize,
    /// Height of a picture at most, in mm.
    pub(super) picture_mm: u32,
}

impl Room {
    /// As much as fits: all entries of all lists before large pictures.
    pub(super) fn on_one_page(sheet: &Sheet) -> Room {
        let all = PICTURES_MM.into_iter().map(|picture_mm| (30, picture_mm));
        let small = PICTURES_MM[PICTURES_MM.len() - 1];
        let fewer = (2..30).rev().map(|entries| (entries, small));
        all.chain(fewer)
            .map(|(entries, picture_mm)| Room {
                entries,
                picture_mm,
            })
            .find(|room| room.height(sheet) <= PAGE_MM)
            .unwrap_or(Room {
                entries: 2,
                picture_mm: small,
            })
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
        let mut height = 8.0 * lines(&sheet.title, 60);
        let facts: f64 = sheet.facts.iter().map(|(_, value)| lines(value, 40)).sum();
        height += LINE_MM * (facts / 2.0).ceil() + LINE_MM;
        height += sheet
            .complaint
            .as_ref()
            .map_or(0.0, |words| LINE_MM * lines(words, 95));
        height += HEAD_MM + ROW_MM + LINE_MM * (1.0 + sheet.how.len() as f64);
        for row in &sheet.figures {
            let cells = [
                (row.what, 28),
                (&row.figure, 30),
                (&row.before.words, 14),
                (&row.after.words, 14),
            ];
            let most = cells
                .iter()
                .map(|(words, width)| lines(words, *width))
                .fold(1.0, f64::max);
            height += ROW_MM + LINE_MM * (most - 1.0);
        }
        if !sheet.pictures.is_empty() {
            let rows = sheet.pictures.len().div_ceil(2) as f64;
            height += HEAD_MM + rows * (f64::from(self.picture_mm) + 2.0 * LINE_MM);
        }
        if !sheet.advised.is_empty() {
            height += HEAD_MM + LINE_MM * self.lines(&sheet.advised, WHOLE);
        }
        let half = |entries: &[String]| HEAD_MM + LINE_MM * self.lines(entries, HALF).max(1.0);
        height += half(&sheet.checked).max(half(&sheet.turned));
        if !sheet.proof.is_empty() {
            let (shown, more) = self.of(&sheet.proof);
            let rows: f64 = shown
                .iter()
                .map(|row| ROW_MM + LINE_MM * (lines(&row.line, 40) - 1.0))
                .sum();
            height += HEAD_MM + ROW_MM + LINE_MM + rows + if more > 0 { LINE_MM } else { 0.0 };
        }
        let mut blocks = vec![];
        if !sheet.faults.is_empty() {
            blocks.push(half(&sheet.faults));
        }
        blocks.extend(
            sheet
                .notes
                .as_ref()
                .map(|notes| HEAD_MM + LINE_MM * lines(notes, HALF)),
        );
        blocks.push(half(&sheet.unchecked));
        if !sheet.clips.is_empty() {
            blocks.push(half(&sheet.clips));
        }
        height += blocks
            .chunks(2)
            .map(|pair| pair.iter().copied().fold(0.0, f64::max))
            .sum::<f64>();
        let cautions: f64 = sheet.cautions.iter().map(|words| lines(words, 56)).sum();
        // Two columns, the longer of which may be an entry longer than the other.
        height += HEAD_MM + 3.1 * (cautions / 2.0 + 2.0);
        height + HEAD_MM + 13.0
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
