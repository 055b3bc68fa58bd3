//! `check`: a clip against what it should read.
use super::args::Check;
use super::exit::Outcome;
use super::hear::hear;
use super::inputs::Input;
use super::profile::{known, long_text, small_text, toml_words};
use super::progress::Progress;
use super::terminal::print;
use super::trouble::Trouble;
use super::truth;
use crate::report::{Comparison, Expectation, ExpectationError, Format, FrameLine, Gatherer};

/// Runs the command.
pub fn check(arguments: &Check) -> Result<Outcome, Trouble> {
    let machine = known(&arguments.known)?;
    let mut comparisons = expectations(arguments)?
        .into_iter()
        .map(Comparison::new)
        .collect::<Vec<_>>();
    let input = if arguments.clip.as_os_str() == "-" {
        Input::Stream
    } else {
        Input::File(arguments.clip.clone())
    };
    let progress = Progress::new(1);
    let mut gatherer = Gatherer::new(&machine, Format::Text);
    let heard = hear(&input, None, &machine, &progress, |frame| {
        let line = FrameLine::from(frame);
        comparisons
            .iter_mut()
            .for_each(|comparison| comparison.push(&line));
        Ok(gatherer.push(frame)?)
    })?;
    drop(progress);
    let name = heard.facts.path.clone();
    let engine = gatherer.finish(heard.facts, heard.warnings)?.heard_engine();
    let differences: Vec<_> = comparisons
        .iter()
        .flat_map(|comparison| comparison.differences(engine))
        .collect();
    if differences.is_empty() {
        print(&format!("{name}: as expected\n"))?;
        return Ok(Outcome::Read);
    }
    let mut text = format!("{name}: not as expected\n");
    differences
        .iter()
        .for_each(|difference| text.push_str(&format!("  {difference}\n")));
    print(&text)?;
    Ok(Outcome::Differs)
}

fn expectations(arguments: &Check) -> Result<Vec<Expectation>, Trouble> {
    let mut out = vec![];
    if let Some(path) = &arguments.expect {
        let text = small_text(path)?;
        out.push(Expectation::from_toml(&text).map_err(|error| {
            let words = match &error {
                ExpectationError::Syntax(syntax) => toml_words(&text, syntax),
                other => other.to_string(),
            };
            Trouble::usage(format!("{}: {words}", path.display()), error.hint())
        })?);
    }
    if let Some(path) = &arguments.truth {
        let read = serde_json::from_str(&long_text(path)?).map_err(|error| {
            let hint = "give the file that `engine-note synth` wrote beside the clip";
            Trouble::usage(format!("{}: no truth file: {error}", path.display()), hint)
        })?;
        out.push(truth::expectation(&read, arguments.within));
    }
    Ok(out)
}
