//! The screen of a tuning: what to do and the speed in letters that are read from two metres.
use ratatui::Frame;
use ratatui::layout::{Alignment, Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};
use tui_big_text::{BigText, PixelSize};

use super::board::Board;
use super::{closing, hands};
use crate::guide::cautions;
use crate::machine::Profile;
use crate::report::{Glyphs, Look, words};

/// The least that the screen needs; lines of text serve where there is less.
pub const LEAST: (u16, u16) = (64, 23);
/// Columns and rows of a big letter, from the largest to the smallest.
const SIZES: [(PixelSize, u16, u16); 3] = [
    (PixelSize::Full, 8, 8),
    (PixelSize::HalfHeight, 8, 4),
    (PixelSize::Quadrant, 4, 4),
];

/// What is laid over the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Over {
    /// Nothing.
    Nothing,
    /// The cautions.
    Cautions,
    /// A note being written.
    Note(String),
}

/// Draws the board, with `extra` lines above the keys.
pub fn draw(board: &Board, over: &Over, extra: &[String], screen: &mut Frame, look: &Look) {
    match (over, &board.result) {
        (Over::Cautions, _) => draw_cautions(&board.machine, screen, look),
        (_, Some(_)) => result(board, screen, look),
        (over, None) => running(board, over, extra, screen, look),
    }
}

/// The cautions, before anything begins or when they are asked for.
pub fn draw_cautions(machine: &Profile, screen: &mut Frame, look: &Look) {
    let area = screen.area();
    let [head, body, foot] = Layout::vertical([
        Constraint::Length(2),
        Constraint::Min(1),
        Constraint::Length(1),
    ])
    .areas(area);
    screen.render_widget(Paragraph::new("Read first").style(strong()), head);
    let lines: Vec<Line> = cautions(machine)
        .into_iter()
        .map(|caution| Line::raw(format!("- {}", caution.words)))
        .collect();
    screen.render_widget(Paragraph::new(lines).wrap(Wrap { trim: true }), body);
    keys(
        &[("Enter".into(), "go on"), ("q".into(), "quit")],
        foot,
        screen,
        look,
    );
}

fn strong() -> Style {
    Style::new().add_modifier(Modifier::BOLD)
}

fn tone(look: &Look, colour: Color) -> Style {
    if look.colour {
        Style::new().fg(colour)
    } else {
        Style::new()
    }
}

fn alarming(look: &Look) -> Style {
    tone(look, Color::Red).add_modifier(Modifier::BOLD | Modifier::REVERSED)
}

fn running(board: &Board, over: &Over, extra: &[String], screen: &mut Frame, look: &Look) {
    let told = board.messages.len().min(2) as u16;
    let spare = screen.area().height.saturating_sub(LEAST.1);
    // Taller letters where there is room for both lines of the prompt and the speed.
    let tall = if spare >= 12 + extra.len() as u16 {
        8
    } else {
        4
    };
    let [
        head,
        way,
        first,
        second,
        say,
        speed,
        scale,
        note,
        more,
        foot,
    ] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(tall),
        Constraint::Length(tall),
        Constraint::Min(2),
        Constraint::Length(tall),
        Constraint::Length(3),
        Constraint::Length(told.max(1)),
        Constraint::Length(extra.len() as u16),
        Constraint::Length(2),
    ])
    .areas(screen.area());
    header(board, head, screen, look);
    let steps = board.steps();
    let steps = if steps.chars().count() > usize::from(way.width) {
        board.place()
    } else {
        steps
    };
    screen.render_widget(Paragraph::new(steps), way);
    let style = if board.urgent() {
        alarming(look)
    } else {
        strong()
    };
    let [one, two] = board.essence();
    big(&one, style, first, screen, look);
    big(&two, style, second, screen, look);
    screen.render_widget(
        Paragraph::new(board.say().to_string()).wrap(Wrap { trim: true }),
        say,
    );
    draw_speed(board, speed, screen, look);
    draw_scale(board, scale, screen, look);
    match over {
        Over::Note(text) => screen.render_widget(
            Paragraph::new(format!("note: {text}_   (Enter keeps it, Esc drops it)"))
                .style(strong()),
            note,
        ),
        Over::Nothing | Over::Cautions => {
            let from = board.messages.len().saturating_sub(2);
            let lines: Vec<Line> = board
                .messages
                .iter()
                .skip(from)
                .map(|words| Line::styled(words.as_str(), tone(look, Color::Yellow)))
                .collect();
            screen.render_widget(Paragraph::new(lines), note);
        }
    }
    let lines: Vec<Line> = extra.iter().map(|line| Line::raw(line.as_str())).collect();
    screen.render_widget(Paragraph::new(lines), more);
    let (asked, others) = hands::shown(board);
    let [asked_row, others_row] =
        Layout::vertical([Constraint::Length(1), Constraint::Length(1)]).areas(foot);
    keys(&asked, asked_row, screen, look);
    keys(&others, others_row, screen, look);
}

fn header(board: &Board, area: Rect, screen: &mut Frame, look: &Look) {
    let name = board.machine.name.as_deref().unwrap_or("tuning");
    let mut head = vec![
        Span::styled(words::shown(name), strong()),
        Span::raw(format!(
            "   {}   {}",
            words::moment(board.now),
            board.source
        )),
    ];
    if board.dropped.0 > 0.0 {
        head.push(Span::styled(
            format!("   {:.2} s of sound lost", board.dropped.0),
            tone(look, Color::Yellow),
        ));
    }
    screen.render_widget(Paragraph::new(Line::from(head)), area);
}

/// A line in letters as large as there is room for.
fn big(text: &str, style: Style, area: Rect, screen: &mut Frame, look: &Look) {
    let letters = text.chars().count() as u16;
    let fits = |(_, width, height): &&(PixelSize, u16, u16)| {
        letters * width <= area.width && *height <= area.height
    };
    match SIZES.iter().find(fits) {
        Some((size, ..)) if look.glyphs == Glyphs::Braille => {
            let text = BigText::builder()
                .pixel_size(*size)
                .style(style)
                .lines([Line::raw(text.to_owned())])
                .build();
            screen.render_widget(text, area);
        }
        _ => {
            let middle = Rect {
                y: area.y + area.height / 2,
                height: area.height.min(1),
                ..area
            };
            let text = Paragraph::new(text.to_owned()).style(style);
            screen.render_widget(text.alignment(Alignment::Left), middle);
        }
    }
}

fn draw_speed(board: &Board, area: Rect, screen: &mut Frame, look: &Look) {
    let goal = board.goal();
    let danger = goal.as_ref().is_some_and(|goal| goal.danger);
    let letter = if area.height >= 8 && area.width >= 100 {
        8
    } else {
        4
    };
    let digits = (6 * letter + 2).min(area.width / 2);
    let [left, right] =
        Layout::horizontal([Constraint::Length(digits), Constraint::Min(20)]).areas(area);
    let style = if danger { alarming(look) } else { strong() };
    big(&board.digits(), style, left, screen, look);
    let mut lines = vec![Line::raw("rpm"), Line::raw(board.firing())];
    if let Some(goal) = goal {
        let style = if danger { alarming(look) } else { Style::new() };
        lines.push(Line::styled(goal.words, style));
    }
    screen.render_widget(Paragraph::new(lines).wrap(Wrap { trim: true }), right);
}

/// The speed and its goal on one line: a pointer above, the range as a thick stretch, names below.
fn draw_scale(board: &Board, area: Rect, screen: &mut Frame, look: &Look) {
    let speeds = &board.machine.speeds;
    let marks: Vec<(f64, &str)> = [
        (speeds.clutch_in.map(|rpm| rpm.0), "clutch-in"),
        (speeds.full_throttle.map(|range| range.high().0), "maximum"),
    ]
    .into_iter()
    .filter_map(|(rpm, name)| Some((rpm?, name)))
    .collect();
    let goal = board.goal();
    let most = marks
        .iter()
        .map(|(rpm, _)| *rpm)
        .chain(goal.iter().map(|goal| goal.range.high().0))
        .fold(0.0, f64::max)
        * 1.15;
    if most <= 0.0 || area.width < 20 {
        return;
    }
    let columns = usize::from(area.width);
    let at = |rpm: f64| ((rpm / most * columns as f64) as usize).min(columns - 1);
    let (thin, thick, post, pointer) = match look.glyphs {
        Glyphs::Braille => ('─', '━', '┃', '▼'),
        Glyphs::Plain => ('-', '=', '|', 'V'),
    };
    let mut above = vec![' '; columns];
    if let Some(rpm) = board.speed() {
        above[at(rpm.0)] = pointer;
    }
    let mut line = vec![thin; columns];
    let mut below = vec![' '; columns];
    let mut name = |at: usize, text: &str| {
        let from = at.min(columns.saturating_sub(text.len()));
        if below[from..from + text.len()].iter().all(|c| *c == ' ') {
            text.chars()
                .enumerate()
                .for_each(|(i, c)| below[from + i] = c);
        }
    };
    for (rpm, text) in marks {
        line[at(rpm)] = post;
        name(at(rpm), text);
    }
    if let Some(goal) = goal {
        let (from, to) = (at(goal.range.low().0), at(goal.range.high().0));
        line[from..=to].fill(thick);
        name(from, "goal");
    }
    let text = |row: Vec<char>| Line::raw(row.into_iter().collect::<String>());
    screen.render_widget(
        Paragraph::new(vec![text(above), text(line), text(below)]),
        area,
    );
}

fn keys(keys: &[(String, &str)], area: Rect, screen: &mut Frame, look: &Look) {
    let mut spans = vec![];
    for (key, means) in keys {
        let style = strong().patch(tone(look, Color::Cyan));
        spans.push(Span::styled(format!("[{key}]"), style));
        spans.push(Span::raw(format!(" {means}  ")));
    }
    screen.render_widget(Paragraph::new(Line::from(spans)), area);
}

fn result(board: &Board, screen: &mut Frame, look: &Look) {
    let Some(outcome) = &board.result else { return };
    let [head, word, body, foot] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(4),
        Constraint::Min(1),
        Constraint::Length(1),
    ])
    .areas(screen.area());
    header(board, head, screen, look);
    big(closing::verdict(outcome), strong(), word, screen, look);
    let lines: Vec<Line> = closing::lines(outcome).into_iter().map(Line::raw).collect();
    screen.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), body);
    keys(&[("Enter".into(), "end")], foot, screen, look);
}
