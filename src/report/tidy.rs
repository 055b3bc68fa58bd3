//! JSON with short numbers and, where a person may look, one line for each frame.
use std::io::{self, Write};

use serde::Serialize;
use serde_json::ser::Formatter;
use serde_json::{Serializer, Value};

/// Digits after the decimal point: a ten-thousandth of a second, of a revolution, of a share.
const PLACES: usize = 4;

/// Breaks lines down to a depth, writes the rest without spaces, and numbers with at most four
/// decimals. What is not finite is written as null by the serializer.
pub struct Tidy {
    depth: usize,
    breaks: usize,
}

impl Tidy {
    /// Everything on one line.
    pub fn one_line() -> Self {
        Tidy {
            depth: 0,
            breaks: 0,
        }
    }

    /// A line for each key of the outermost object and for each element of its lists.
    pub fn lines() -> Self {
        Tidy {
            depth: 0,
            breaks: 2,
        }
    }

    fn line<W: ?Sized + Write>(&self, out: &mut W) -> io::Result<()> {
        if self.depth <= self.breaks && self.breaks > 0 {
            out.write_all(b"\n")?;
            (0..self.depth).try_for_each(|_| out.write_all(b" "))?;
        }
        Ok(())
    }

    fn open<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        out.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth -= 1;
        out.write_all(bracket)
    }

    fn next<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if !first {
            out.write_all(b",")?;
        }
        self.line(out)
    }
}

impl Formatter for Tidy {
    fn write_f64<W: ?Sized + Write>(&mut self, out: &mut W, value: f64) -> io::Result<()> {
        let text = format!("{value:.PLACES$}");
        let text = text.trim_end_matches('0').trim_end_matches('.');
        out.write_all(if text == "-0" { b"0" } else { text.as_bytes() })
    }

    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.next(out, first)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"}")?;
        if self.depth == 0 && self.breaks > 0 {
            out.write_all(b"\n")
        } else {
            Ok(())
        }
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if self.depth == 1 {
            return self.next(out, first);
        }
        if first { Ok(()) } else { out.write_all(b",") }
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(if self.breaks > 0 { b": " } else { b":" })
    }
}

/// What a reader of the JSON gets, so that a table has the same numbers.
///
/// # Errors
/// Those of the value, which may have to be read from a file.
pub fn as_written(value: &impl Serialize) -> io::Result<Value> {
    let mut text = vec![];
    value.serialize(&mut Serializer::with_formatter(&mut text, Tidy::one_line()))?;
    Ok(serde_json::from_slice(&text)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn written(value: &Value, tidy: Tidy) -> String {
        let mut out = vec![];
        value
            .serialize(&mut Serializer::with_formatter(&mut out, tidy))
            .unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn both_layouts_say_the_same() {
        let value =
            json!({"a": [{"x": 1.5, "y": null}, {"x": -2}], "b": {"c": [1, 2], "d": {}}, "e": []});
        assert_eq!(
            written(&value, Tidy::one_line()),
            r#"{"a":[{"x":1.5,"y":null},{"x":-2}],"b":{"c":[1,2],"d":{}},"e":[]}"#
        );
        let lines = written(&value, Tidy::lines());
        assert_eq!(serde_json::from_str::<Value>(&lines).unwrap(), value);
        assert_eq!(
            lines.lines().filter(|line| line.contains("\"x\"")).count(),
            2,
            "{lines}"
        );
    }

    #[test]
    fn numbers_are_short() {
        let value = json!([2873.442371, 0.5, -0.00001, 12000.0, 1e-9, f64::NAN]);
        assert_eq!(
            written(&value, Tidy::one_line()),
            "[2873.4424,0.5,0,12000,0,null]"
        );
    }
}
