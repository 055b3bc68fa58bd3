//! A small table that drops its least important columns where the terminal is narrow.
use console::measure_text_width;

use super::look::{Look, Tone};

/// Columns between two columns of the table.
const GAP: usize = 2;

/// Rows of words under heads. Columns whose cells all hold a number stand to the right, but for
/// those that are said to be words.
pub struct Table<const N: usize> {
    heads: [(&'static str, u8); N],
    words: Vec<usize>,
    rows: Vec<[String; N]>,
}

impl<const N: usize> Table<N> {
    /// A table with a head and a rank for each column: 0 is always shown, the highest rank goes first.
    pub fn new(heads: &[(&'static str, u8); N]) -> Self {
        Table {
            heads: *heads,
            words: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// The same with columns that stand to the left whatever they hold: names, for example.
    pub fn words(mut self, columns: &[usize]) -> Self {
        self.words.extend_from_slice(columns);
        self
    }

    /// Adds a row.
    pub fn row(&mut self, cells: [String; N]) {
        self.rows.push(cells);
    }

    fn width(&self, column: usize) -> usize {
        let cells = self
            .rows
            .iter()
            .map(|row| measure_text_width(&row[column]))
            .max()
            .unwrap_or(0);
        // A column without a single entry is not shown at all.
        if cells == 0 {
            0
        } else {
            cells.max(measure_text_width(self.heads[column].0))
        }
    }

    fn is_numeric(&self, column: usize) -> bool {
        let number = |cell: &str| cell.is_empty() || cell.contains(|c: char| c.is_ascii_digit());
        !self.words.contains(&column) && self.rows.iter().all(|row| number(&row[column]))
    }

    /// The text, indented by two columns.
    pub fn render(&self, look: &Look) -> String {
        let widths: Vec<usize> = (0..N).map(|column| self.width(column)).collect();
        let mut shown: Vec<usize> = (0..N).filter(|column| widths[*column] > 0).collect();
        let total = |shown: &[usize]| {
            shown
                .iter()
                .map(|column| widths[*column] + GAP)
                .sum::<usize>()
        };
        while total(&shown) > look.width {
            let least = shown
                .iter()
                .copied()
                .filter(|c| self.heads[*c].1 > 0)
                .max_by_key(|c| self.heads[*c].1);
            match least {
                Some(least) => shown.retain(|column| *column != least),
                None => break,
            }
        }
        let line = |cell: &dyn Fn(usize) -> String| {
            let mut out = String::new();
            for column in &shown {
                let text = cell(*column);
                let pad = " ".repeat(widths[*column].saturating_sub(measure_text_width(&text)));
                out.push_str(&" ".repeat(GAP));
                out.push_str(&if self.is_numeric(*column) {
                    pad + &text
                } else {
                    text + &pad
                });
            }
            out.trim_end().to_string()
        };
        let mut out = look.paint(
            Tone::Faint,
            &line(&|column| self.heads[column].0.to_string()),
        );
        out.push('\n');
        for row in &self.rows {
            out.push_str(&line(&|column| row[column].clone()));
            out.push('\n');
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_least_important_column_goes_first() {
        let mut table = Table::new(&[("a", 0), ("b", 2), ("c", 1), ("empty", 0)]);
        table.row(["one".into(), "1".into(), "22".into(), String::new()]);
        table.row(["two".into(), "10".into(), "3".into(), String::new()]);
        let at = |width| {
            table.render(&Look {
                width,
                ..Look::default()
            })
        };
        assert_eq!(at(80), "  a     b   c\n  one   1  22\n  two  10   3\n");
        assert_eq!(at(10), "  a     c\n  one  22\n  two   3\n");
        assert_eq!(at(5), "  a\n  one\n  two\n");
    }
}
