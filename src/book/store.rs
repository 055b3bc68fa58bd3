//! Machines and visits in the file and out of it.
use jiff::civil::Date;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, Value, ValueRef};
use rusqlite::{Connection, OptionalExtension, Row, named_params, params};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::air::Air;
use super::digest::Digest;
use super::error::BookError;
use super::file::Book;
use super::machine::{Machine, Tag};
use super::visit::{Clip, Moment, Numbered, Visit};

/// A value kept as its JSON.
pub(super) struct Json<T>(pub(super) T);

impl<T: Serialize> ToSql for Json<T> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        let text = serde_json::to_string(&self.0)
            .map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
        Ok(ToSqlOutput::Owned(Value::Text(text)))
    }
}

impl<T: DeserializeOwned> FromSql for Json<T> {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        serde_json::from_str(value.as_str()?)
            .map(Json)
            .map_err(FromSqlError::other)
    }
}

/// A value kept as the one word that its JSON is.
struct Word<T>(T);

impl<T: Serialize> ToSql for Word<T> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        let failed =
            |error: serde_json::Error| rusqlite::Error::ToSqlConversionFailure(error.into());
        match serde_json::to_value(&self.0).map_err(failed)? {
            serde_json::Value::String(word) => Ok(ToSqlOutput::Owned(Value::Text(word))),
            other => Ok(ToSqlOutput::Owned(Value::Text(other.to_string()))),
        }
    }
}

impl<T: DeserializeOwned> FromSql for Word<T> {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let word = serde_json::Value::String(value.as_str()?.into());
        serde_json::from_value(word)
            .map(Word)
            .map_err(FromSqlError::other)
    }
}

const MACHINES: &str = "SELECT tag, class, profile FROM machine";

fn machine(row: &Row<'_>) -> rusqlite::Result<Machine> {
    Ok(Machine {
        tag: row.get::<_, Word<Tag>>("tag")?.0,
        class: row.get::<_, Option<Word<_>>>("class")?.map(|word| word.0),
        profile: row.get::<_, Json<_>>("profile")?.0,
    })
}

/// A visit without its clips.
fn visit(row: &Row<'_>) -> rusqlite::Result<Numbered> {
    let visit = Visit {
        date: row.get::<_, Word<Date>>("date")?.0,
        technician: row.get("technician")?,
        attachment: row.get("attachment")?,
        complaint: row.get("complaint")?,
        checks: row.get::<_, Json<_>>("checks")?.0,
        before: row.get::<_, Option<Json<_>>>("before")?.map(|json| json.0),
        after: row.get::<_, Option<Json<_>>>("after")?.map(|json| json.0),
        screws_found: row.get::<_, Json<_>>("screws_found")?.0,
        screws_left: row.get::<_, Json<_>>("screws_left")?.0,
        moves: row.get::<_, Json<_>>("moves")?.0,
        proof: row.get::<_, Json<_>>("proof")?.0,
        verdict: row.get::<_, Option<Word<_>>>("verdict")?.map(|word| word.0),
        faults: row.get::<_, Json<_>>("faults")?.0,
        notes: row.get("notes")?,
        air: Air {
            temperature_c: row.get("air_temperature_c")?,
            altitude_m: row.get("altitude_m")?,
        },
        fuel: row.get("fuel")?,
        clips: vec![],
    };
    Ok(Numbered {
        number: row.get("id")?,
        visit,
    })
}

fn clip(row: &Row<'_>) -> rusqlite::Result<Clip> {
    Ok(Clip {
        moment: row.get::<_, Word<Moment>>("moment")?.0,
        path: row.get("path")?,
        sha256: Digest(row.get("sha256")?),
    })
}

/// All machines, by tag.
pub(super) fn machines(connection: &Connection) -> rusqlite::Result<Vec<Machine>> {
    connection
        .prepare(&format!("{MACHINES} ORDER BY tag"))?
        .query_map([], machine)?
        .collect()
}

/// The visits that `condition` picks, with their clips.
fn visits(
    connection: &Connection,
    condition: &str,
    values: impl rusqlite::Params,
) -> rusqlite::Result<Vec<Numbered>> {
    let mut found: Vec<Numbered> = connection
        .prepare(&format!("SELECT * FROM visit {condition}"))?
        .query_map(values, visit)?
        .collect::<Result<_, _>>()?;
    let mut clips = connection
        .prepare("SELECT moment, path, sha256 FROM clip WHERE visit = ? ORDER BY place")?;
    for visit in &mut found {
        visit.visit.clips = clips
            .query_map([visit.number], clip)?
            .collect::<Result<_, _>>()?;
    }
    Ok(found)
}

/// The machine with a tag, with the number by which the file knows it.
fn find(connection: &Connection, tag: &str) -> rusqlite::Result<Option<(i64, Machine)>> {
    connection
        .query_row("SELECT * FROM machine WHERE tag = ?", [tag], |row| {
            Ok((row.get("id")?, machine(row)?))
        })
        .optional()
}

/// Writes a machine; what the book knew of it before is replaced. Gives its number in the file.
pub(super) fn put_machine(connection: &Connection, machine: &Machine) -> rusqlite::Result<i64> {
    connection.query_row(
        "INSERT INTO machine (tag, class, profile) VALUES (?1, ?2, ?3)
         ON CONFLICT (tag) DO UPDATE SET class = ?2, profile = ?3 RETURNING id",
        params![
            machine.tag.as_str(),
            machine.class.map(Word),
            Json(&machine.profile)
        ],
        |row| row.get(0),
    )
}

/// Writes a visit and gives its number: `number` where it replaces that one.
pub(super) fn put_visit(
    connection: &Connection,
    machine: i64,
    number: Option<u32>,
    visit: &Visit,
) -> rusqlite::Result<u32> {
    let number: u32 = connection.query_row(
        "INSERT INTO visit (id, machine, date, complaint, checks, before, after, screws_found, screws_left, moves,
           proof, verdict, faults, notes, air_temperature_c, altitude_m, fuel, technician, attachment)
         VALUES (:id, :machine, :date, :complaint, :checks, :before, :after, :screws_found, :screws_left, :moves,
           :proof, :verdict, :faults, :notes, :air_temperature_c, :altitude_m, :fuel, :technician, :attachment)
         ON CONFLICT (id) DO UPDATE SET machine = :machine, date = :date, complaint = :complaint, checks = :checks,
           before = :before, after = :after, screws_found = :screws_found, screws_left = :screws_left,
           moves = :moves, proof = :proof, verdict = :verdict, faults = :faults, notes = :notes,
           air_temperature_c = :air_temperature_c, altitude_m = :altitude_m, fuel = :fuel,
           technician = :technician, attachment = :attachment
         RETURNING id",
        named_params! {
            ":id": number,
            ":machine": machine,
            ":date": Word(visit.date),
            ":complaint": visit.complaint,
            ":checks": Json(&visit.checks),
            ":before": visit.before.map(Json),
            ":after": visit.after.map(Json),
            ":screws_found": Json(visit.screws_found),
            ":screws_left": Json(visit.screws_left),
            ":moves": Json(&visit.moves),
            ":proof": Json(&visit.proof),
            ":verdict": visit.verdict.map(Word),
            ":faults": Json(&visit.faults),
            ":notes": visit.notes,
            ":air_temperature_c": visit.air.temperature_c,
            ":altitude_m": visit.air.altitude_m,
            ":fuel": visit.fuel,
            ":technician": visit.technician,
            ":attachment": visit.attachment,
        },
        |row| row.get(0),
    )?;
    connection.execute("DELETE FROM clip WHERE visit = ?", [number])?;
    let mut insert = connection
        .prepare("INSERT INTO clip (visit, place, moment, path, sha256) VALUES (?, ?, ?, ?, ?)")?;
    for (place, clip) in visit.clips.iter().enumerate() {
        insert.execute(params![
            number,
            place as u32,
            clip.moment.word(),
            clip.path,
            clip.sha256.0
        ])?;
    }
    Ok(number)
}

/// Every visit in the order of the numbers, each with the tag of its machine.
pub(super) fn all_visits(connection: &Connection) -> rusqlite::Result<Vec<(Tag, Visit)>> {
    let numbered = visits(connection, "ORDER BY id", [])?;
    let mut tag = connection
        .prepare("SELECT tag FROM machine WHERE id = (SELECT machine FROM visit WHERE id = ?)")?;
    numbered
        .into_iter()
        .map(|one| {
            let tag = tag
                .query_row([one.number], |row| row.get::<_, Word<Tag>>(0))?
                .0;
            Ok((tag, one.visit))
        })
        .collect()
}

/// The visit with a number and its machine, where both can be read.
pub(super) fn one_visit(
    connection: &Connection,
    number: u32,
) -> rusqlite::Result<Option<(Machine, Visit)>> {
    let Some(found) = visits(connection, "WHERE id = ?", [number])?.pop() else {
        return Ok(None);
    };
    let machine = connection.query_row(
        &format!("{MACHINES} WHERE id = (SELECT machine FROM visit WHERE id = ?)"),
        [number],
        machine,
    )?;
    Ok(Some((machine, found.visit)))
}

impl Book {
    fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> rusqlite::Result<T>,
    ) -> Result<T, BookError> {
        // One transaction, so that what is read belongs together whatever others write meanwhile.
        let failed = |error| self.failed(&error);
        let transaction = self.connection.unchecked_transaction().map_err(failed)?;
        work(&transaction).map_err(failed)
    }

    /// All machines by tag, each with the number of its visits and the day of the latest.
    ///
    /// # Errors
    /// Where the file cannot be read; so for all that follow.
    pub fn machines(&self) -> Result<Vec<(Machine, u32, Option<Date>)>, BookError> {
        self.read(|connection| {
            let mut count = connection.prepare(
                "SELECT count(*), max(date) FROM visit WHERE machine = (SELECT id FROM machine WHERE tag = ?)",
            )?;
            machines(connection)?
                .into_iter()
                .map(|machine| {
                    let (visits, latest) = count.query_row([machine.tag.as_str()], |row| {
                        Ok((row.get(0)?, row.get::<_, Option<Word<Date>>>(1)?))
                    })?;
                    Ok((machine, visits, latest.map(|date| date.0)))
                })
                .collect()
        })
    }

    /// The machine with a tag, if the book knows it.
    pub fn machine(&self, tag: &str) -> Result<Option<Machine>, BookError> {
        Ok(self
            .read(|connection| find(connection, tag))?
            .map(|(_, machine)| machine))
    }

    /// The machine with a tag and its visits in order of time.
    ///
    /// # Errors
    /// Where the book does not know it, too.
    pub fn history(&self, tag: &str) -> Result<(Machine, Vec<Numbered>), BookError> {
        let found = self.read(|connection| {
            let Some((id, machine)) = find(connection, tag)? else {
                return Ok(Err(machines(connection)?));
            };
            Ok(Ok((
                machine,
                visits(connection, "WHERE machine = ? ORDER BY date, id", [id])?,
            )))
        })?;
        found.map_err(|others| unknown(tag, &others))
    }

    /// The visit with a number, and its machine.
    ///
    /// # Errors
    /// Where there is none, too.
    pub fn visit(&self, number: u32) -> Result<(Machine, Visit), BookError> {
        self.read(|connection| one_visit(connection, number))?
            .ok_or(BookError::UnknownVisit { number })
    }

    /// Writes a machine; what the book knew of it before is replaced.
    pub fn put_machine(&mut self, machine: &Machine) -> Result<(), BookError> {
        machine.check()?;
        self.write(|transaction| put_machine(transaction, machine))?;
        Ok(())
    }

    /// Adds a visit, and its machine with it where the book does not know it yet or `machine`
    /// differs from what it knows. Gives the visit's number.
    ///
    /// # Errors
    /// For values that no engine has, too.
    pub fn add_visit(&mut self, machine: &Machine, visit: &Visit) -> Result<u32, BookError> {
        machine.check()?;
        visit.check()?;
        self.write(|transaction| {
            let id = put_machine(transaction, machine)?;
            put_visit(transaction, id, None, visit)
        })
    }

    /// Changes the visit with a number, and gives what it became. Nobody else writes between the
    /// look at it and the change.
    ///
    /// # Errors
    /// Where there is none, and for values that no engine has, too.
    pub fn change_visit(
        &mut self,
        number: u32,
        change: impl FnOnce(&mut Visit),
    ) -> Result<Visit, BookError> {
        self.write(|transaction| {
            let Some((machine, mut visit)) = one_visit(transaction, number)? else {
                return Ok(Err(BookError::UnknownVisit { number }));
            };
            change(&mut visit);
            if let Err(error) = visit.check() {
                return Ok(Err(error));
            }
            let id = put_machine(transaction, &machine)?;
            put_visit(transaction, id, Some(number), &visit)?;
            Ok(Ok(visit))
        })?
    }
}

fn unknown(tag: &str, others: &[Machine]) -> BookError {
    /// Below this likeness a guess would only puzzle.
    const ALIKE: f64 = 0.75;
    let likeness = |machine: &Machine| {
        strsim::jaro_winkler(&tag.to_lowercase(), &machine.tag.as_str().to_lowercase())
    };
    let near = others
        .iter()
        .map(|machine| (likeness(machine), machine))
        .filter(|(likeness, _)| *likeness >= ALIKE)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    BookError::UnknownMachine {
        tag: tag.into(),
        near: near.map(|(_, machine)| machine.tag.to_string()),
    }
}
