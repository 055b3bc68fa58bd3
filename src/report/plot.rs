//! The chart: speed over time as a curve of dots, and under it a strip of marks for the firing.
//!
//! In a terminal each character carries two by four dots, so that a line of 60 characters shows
//! 120 moments. A column's stroke reaches from the lowest to the highest speed heard in it; where
//! no speed was readable there is a gap. Nothing is told by colour alone.
use super::look::{Glyphs, Look, Tone};
use super::trace::{Bucket, Trace};
use super::words;
use crate::firing::FiringKind;
use crate::machine::Profile;
use crate::units::Seconds;

/// Rows of characters that the curve aims for.
const ROWS: usize = 10;
/// Columns for the numbers at the left.
const MARGIN: usize = 8;
/// The least span of the speed axis as a share of the speed, so that a steady idle looks steady.
pub(super) const LEAST_SPAN: f64 = 0.08;
/// How far beyond what was heard a known speed of the machine is still shown, as a share of it.
pub(super) const REACH: f64 = 0.12;

/// The speed axis: `steps` steps of `step` rpm from `low`, `rows` rows of characters each.
struct Axis {
    low: f64,
    step: f64,
    steps: usize,
    rows: usize,
}

impl Axis {
    fn new(lowest: f64, highest: f64) -> Axis {
        let middle = f64::midpoint(lowest, highest);
        let half = ((highest - lowest) / 2.0)
            .max(middle * LEAST_SPAN / 2.0)
            .max(1.0);
        let (lowest, highest) = (middle - half, middle + half);
        let mut step = 10f64
            .powf(((highest - lowest) / 5.0).log10().floor())
            .max(1.0);
        let mut factors = [2.0, 1.25, 2.0, 2.0].iter().cycle();
        // 1, 2, 2.5, 5, 10, 20, … until five steps hold the whole range.
        while ((highest / step).ceil() - (lowest / step).floor()) > 5.0 {
            step *= factors.next().unwrap_or(&2.0);
        }
        let low = (lowest / step).floor();
        let steps = ((highest / step).ceil() - low).max(1.0) as usize;
        Axis {
            low: low * step,
            step,
            steps,
            rows: (ROWS / steps).max(1),
        }
    }

    fn height(&self) -> usize {
        self.steps * self.rows + 1
    }

    /// Row of a speed, counted in dots from the bottom; each row has four.
    fn dot(&self, rpm: f64) -> usize {
        let at = 1.5 + 4.0 * self.rows as f64 * (rpm - self.low) / self.step;
        (at.round().max(0.0) as usize).min(4 * self.height() - 1)
    }
}

/// Dots, two by four to a character.
struct Dots {
    width: usize,
    set: Vec<bool>,
}

impl Dots {
    fn new(width: usize, height: usize) -> Dots {
        Dots {
            width,
            set: vec![false; width * 2 * height * 4],
        }
    }

    fn stroke(&mut self, x: usize, from: usize, to: usize) {
        for y in from.min(to)..=from.max(to) {
            if let Some(dot) = self.set.get_mut(y * self.width * 2 + x) {
                *dot = true;
            }
        }
    }

    /// The character at a column and a row counted from the bottom.
    fn character(&self, column: usize, row: usize, glyphs: Glyphs) -> char {
        let at = |dx: usize, dy: usize| self.set[(row * 4 + dy) * self.width * 2 + column * 2 + dx];
        match glyphs {
            Glyphs::Braille => {
                // Unicode, block 2800: bits 0 to 2 and 6 go down the left side, 3 to 5 and 7 the right.
                const BITS: [[u32; 4]; 2] = [[6, 2, 1, 0], [7, 5, 4, 3]];
                let mut bits = 0;
                for (dx, side) in BITS.iter().enumerate() {
                    for (dy, bit) in side.iter().enumerate() {
                        bits |= u32::from(at(dx, dy)) << bit;
                    }
                }
                if bits == 0 {
                    ' '
                } else {
                    char::from_u32(0x2800 + bits).unwrap_or(' ')
                }
            }
            Glyphs::Plain => {
                let half = |from: usize| (0..2).any(|dx| at(dx, from) || at(dx, from + 1));
                match (half(2), half(0)) {
                    (true, true) => ':',
                    (true, false) => '\'',
                    (false, true) => '.',
                    (false, false) => ' ',
                }
            }
        }
    }
}

/// The mark of a kind of firing in the strip.
fn mark(kind: FiringKind, glyphs: Glyphs) -> char {
    match kind {
        FiringKind::Clean if glyphs == Glyphs::Braille => '─',
        FiringKind::Clean => '-',
        FiringKind::FourStroking => '4',
        FiringKind::Limiter => 'L',
        FiringKind::Unclear => '?',
        FiringKind::None => ' ',
    }
}

fn tone(kind: FiringKind) -> Tone {
    match kind {
        FiringKind::Clean => Tone::Calm,
        FiringKind::FourStroking => Tone::Notable,
        FiringKind::Limiter => Tone::Alarming,
        FiringKind::Unclear | FiringKind::None => Tone::Faint,
    }
}

/// Draws the chart with its firing strip and legend; nothing where no speed was read.
pub fn draw(trace: &Trace, machine: &Profile, look: &Look) -> String {
    let notes_width = 13;
    let with_notes = look.width >= 60;
    let room = look
        .width
        .saturating_sub(MARGIN + 2 + if with_notes { notes_width } else { 0 });
    let width = room.clamp(16, 100);
    let halves = trace.columns(width * 2);
    let Some((begin, end)) = trace.extent() else {
        return String::new();
    };
    let (lowest, highest) = halves
        .iter()
        .filter(|c| c.readable > 0)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), c| {
            (low.min(c.lowest), high.max(c.highest))
        });
    if lowest > highest {
        return String::new();
    }
    // Known speeds just outside what was heard are worth seeing too: how far is it to the maximum?
    let (lowest, highest) = known(machine)
        .iter()
        .map(|(_, rpm)| *rpm)
        .filter(|rpm| (lowest * (1.0 - REACH)..=highest * (1.0 + REACH)).contains(rpm))
        .fold((lowest, highest), |(low, high), rpm| {
            (low.min(rpm), high.max(rpm))
        });
    let axis = Axis::new(lowest, highest);
    let dots = curve(&halves, &axis, width);
    let notes = if with_notes {
        notes(machine, &axis)
    } else {
        vec![]
    };

    let mut out = format!("{:>MARGIN$}\n", "rpm");
    for row in (0..axis.height()).rev() {
        let tick = row.is_multiple_of(axis.rows);
        let label = if tick {
            words::grouped(axis.low + axis.step * (row / axis.rows) as f64)
        } else {
            String::new()
        };
        let line: String = (0..width)
            .map(|column| dots.character(column, row, look.glyphs))
            .collect();
        let note = notes
            .iter()
            .find(|(at, _)| *at == row)
            .map(|(_, words)| *words);
        let (edge, pointer) = match (look.glyphs, tick) {
            (Glyphs::Braille, true) => ('┤', '◂'),
            (Glyphs::Braille, false) => ('│', '◂'),
            (Glyphs::Plain, true) => ('+', '<'),
            (Glyphs::Plain, false) => ('|', '<'),
        };
        let body = match note {
            Some(note) => format!(
                "{line} {}",
                look.paint(Tone::Faint, &format!("{pointer} {note}"))
            ),
            None => line.trim_end().to_string(),
        };
        out.push_str(format!("{label:>MARGIN$}{edge}{body}").trim_end());
        out.push('\n');
    }
    out.push_str(&time_axis(begin, end, width, look.glyphs));
    out.push_str(&strip(&halves, look));
    out
}

/// The curve: in each half column a stroke from the lowest to the highest speed, joined to its
/// neighbour where both are readable.
fn curve(halves: &[Bucket], axis: &Axis, width: usize) -> Dots {
    let mut dots = Dots::new(width, axis.height());
    let mut before: Option<usize> = None;
    for (x, column) in halves.iter().enumerate() {
        let Some(rpm) = column.rpm() else {
            before = None;
            continue;
        };
        let middle = axis.dot(rpm);
        dots.stroke(x, axis.dot(column.lowest), axis.dot(column.highest));
        if let Some(before) = before {
            // Half of the way belongs to either column.
            let between = usize::midpoint(before, middle);
            dots.stroke(x - 1, before, between);
            dots.stroke(x, between, middle);
        }
        before = Some(middle);
    }
    dots
}

/// The known speeds of the machine in rpm, the more important ones first.
pub(super) fn known(machine: &Profile) -> Vec<(&'static str, f64)> {
    let speeds = &machine.speeds;
    [
        ("maximum", speeds.full_throttle.map(|range| range.high())),
        ("clutch-in", speeds.clutch_in),
        ("limiter", speeds.limiter),
        ("idle, most", speeds.idle.map(|range| range.high())),
    ]
    .into_iter()
    .filter_map(|(name, speed)| Some((name, speed?.0)))
    .collect()
}

/// The known speeds at the right edge, with their rows, where they lie on the axis. Where two share
/// a row the less important one gives way.
fn notes(machine: &Profile, axis: &Axis) -> Vec<(usize, &'static str)> {
    let top = axis.low + axis.step * axis.steps as f64;
    let mut notes: Vec<(usize, &'static str)> = vec![];
    for (name, rpm) in known(machine) {
        let row = axis.dot(rpm) / 4;
        let free = notes.iter().all(|(taken, _)| *taken != row);
        if free && (axis.low..=top).contains(&rpm) {
            notes.push((row, name));
        }
    }
    notes
}

fn time_axis(begin: Seconds, end: Seconds, width: usize, glyphs: Glyphs) -> String {
    let length = (end.0 - begin.0).max(1e-3);
    let nice = [
        0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1_200.0,
        1_800.0, 3_600.0, 7_200.0,
    ];
    // A label with its space takes about ten columns.
    let most = (width / 10).max(1) as f64;
    let step = nice
        .into_iter()
        .find(|step| length / step <= most)
        .unwrap_or(length / most);
    let (line, tick, corner) = match glyphs {
        Glyphs::Braille => ('─', '┬', '└'),
        Glyphs::Plain => ('-', '+', '+'),
    };
    let mut rule = vec![line; width];
    let mut labels = vec![' '; width];
    // From zero, so that a beginning a little before it does not give "-0".
    let mut t = (begin.0.max(0.0) / step).ceil() * step;
    while t <= end.0 {
        let column = (((t - begin.0) / length * width as f64) as usize).min(width - 1);
        rule[column] = tick;
        let label = if length < 2.0 || step < 1.0 {
            format!("{t:.1} s")
        } else if t < 120.0 {
            format!("{t:.0} s")
        } else {
            words::moment(Seconds(t))
        };
        // The last label ends with the line.
        let begin = column.min(width.saturating_sub(label.chars().count()));
        for (place, c) in labels.iter_mut().skip(begin).zip(label.chars()) {
            *place = c;
        }
        t += step;
    }
    let labels: String = labels.into_iter().collect();
    format!(
        "{:MARGIN$}{corner}{}\n{:MARGIN$} {}\n",
        "",
        rule.into_iter().collect::<String>(),
        "",
        labels.trim_end()
    )
}

/// The firing below the curve, and what its marks mean.
fn strip(halves: &[Bucket], look: &Look) -> String {
    let mut marks = String::new();
    let mut seen = vec![];
    for pair in halves.chunks(2) {
        let mut column = pair[0];
        pair[1..].iter().for_each(|other| column.merge(other));
        let kind = column.kind().unwrap_or(FiringKind::None);
        if !seen.contains(&kind) {
            seen.push(kind);
        }
        marks.push_str(&look.paint(tone(kind), &mark(kind, look.glyphs).to_string()));
    }
    let order = [
        FiringKind::Clean,
        FiringKind::FourStroking,
        FiringKind::Limiter,
        FiringKind::Unclear,
    ];
    let mut legend: Vec<String> = order
        .into_iter()
        .filter(|kind| seen.contains(kind))
        .map(|kind| {
            format!(
                "{} {}",
                look.paint(tone(kind), &mark(kind, look.glyphs).to_string()),
                words::firing(kind)
            )
        })
        .collect();
    if seen.contains(&FiringKind::None) {
        legend.push("blank: no speed".into());
    }
    format!(
        "{:<MARGIN$} {}\n{}",
        " firing",
        marks.trim_end(),
        legend_lines(&legend, look.width)
    )
}

/// The entries of the legend, as many on a line as fit.
fn legend_lines(entries: &[String], width: usize) -> String {
    let indent = MARGIN + 1;
    let (mut out, mut used) = (String::new(), 0);
    for entry in entries {
        let length = console::measure_text_width(entry);
        if used > 0 && used + 3 + length <= width {
            out.push_str("   ");
            used += 3;
        } else {
            if used > 0 {
                out.push('\n');
            }
            out.push_str(&" ".repeat(indent));
            used = indent;
        }
        out.push_str(entry);
        used += length;
    }
    out.push('\n');
    out
}
