//! What can happen to a book, made to happen: the real program, the real file.
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::{CommandExt, ExitStatusExt};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use engine_note::book::{Book, Contents, Entry, Layout, Machine, PATIENCE, VERSION, Visit};

use crate::bench::{Bench, told};

/// A folder with a book of `visits` visits of one machine.
fn bench_with_book(visits: usize) -> Bench {
    let bench = Bench::new();
    let mut book = Book::open_or_begin(&bench.path("book"), PATIENCE).unwrap();
    book.import(&many(visits, "there from the start")).unwrap();
    bench
}

fn many(visits: usize, words: &str) -> Contents {
    let machine = Machine::new("trimmer 4".parse().unwrap());
    let mut visit = Visit::on("2026-05-04".parse().unwrap());
    let visits = (0..visits)
        .map(|at| {
            visit.notes = Some(format!("{words}, {at}"));
            Entry {
                machine: machine.tag.clone(),
                visit: visit.clone(),
            }
        })
        .collect();
    Contents {
        schema: Layout::Book1,
        machines: vec![machine],
        visits,
    }
}

fn contents(bench: &Bench) -> Contents {
    let output = bench.output(&["book", "--book", "book", "export"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    Contents::from_json(&String::from_utf8(output.stdout).unwrap()).unwrap()
}

fn notes(bench: &Bench) -> Vec<String> {
    contents(bench)
        .visits
        .into_iter()
        .map(|entry| entry.visit.notes.unwrap_or_default())
        .collect()
}

fn add(note: &str) -> [&str; 7] {
    ["book", "--book", "book", "add", "trimmer 4", "--note", note]
}

/// The program said one line that begins so, one hint, and ended with 3.
fn refused(output: &Output, begins: &str) {
    let told = told(output);
    assert_eq!(output.status.code(), Some(3), "{told}");
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    let lines: Vec<&str> = words.lines().collect();
    assert_eq!(lines.len(), 2, "{told}");
    assert!(lines[0].starts_with(&format!("error: {begins}")), "{told}");
    assert!(lines[1].starts_with("hint: "), "{told}");
    assert!(output.stdout.is_empty(), "{told}");
}

#[test]
fn many_programs_at_once_lose_nothing() {
    let bench = bench_with_book(3);
    const PROGRAMS: usize = 8;
    const EACH: usize = 6;
    thread::scope(|scope| {
        for program in 0..PROGRAMS {
            let bench = &bench;
            scope.spawn(move || {
                for at in 0..EACH {
                    let output = bench.output(&add(&format!("{program}/{at}")));
                    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
                    contents(bench);
                }
            });
        }
    });
    let all = notes(&bench);
    assert_eq!(all.len(), 3 + PROGRAMS * EACH);
    for program in 0..PROGRAMS {
        let own = format!("{program}/");
        let order: Vec<&String> = all.iter().filter(|note| note.starts_with(&own)).collect();
        let expected: Vec<String> = (0..EACH).map(|at| format!("{program}/{at}")).collect();
        assert_eq!(order, expected.iter().collect::<Vec<_>>());
    }
}

#[test]
fn many_programs_may_begin_the_same_book() {
    let bench = Bench::new();
    thread::scope(|scope| {
        for program in 0..8 {
            let bench = &bench;
            scope.spawn(move || {
                let output = bench.output(&add(&program.to_string()));
                assert_eq!(output.status.code(), Some(0), "{}", told(&output));
            });
        }
    });
    assert_eq!(notes(&bench).len(), 8);
}

#[test]
fn killed_in_the_middle_of_a_write_it_is_as_before() {
    let bench = bench_with_book(40);
    let before = contents(&bench);
    bench.file(
        "big.json",
        many(60_000, "never committed").to_json().as_bytes(),
    );
    let length = |name: &str| fs::metadata(bench.path(name)).map_or(0, |facts| facts.len());
    let bytes = fs::read(bench.path("book")).unwrap();
    let start = length("book");
    // Killed once the journal is there, and once pages of the unfinished change are in the file.
    for grown in [false, true] {
        let mut child = bench
            .command(&["book", "--book", "book", "import", "big.json"])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let patience = Instant::now();
        while length("book-journal") == 0 || (grown && length("book") <= start + (1 << 20)) {
            assert!(
                child.try_wait().unwrap().is_none(),
                "it ended before it could be killed"
            );
            assert!(
                patience.elapsed() < Duration::from_secs(60),
                "it never began to write"
            );
            thread::sleep(Duration::from_micros(200));
        }
        child.kill().unwrap();
        let status = child.wait().unwrap();
        assert_eq!(
            status.signal(),
            Some(9),
            "it ended before it could be killed"
        );
        assert!(length("book-journal") > 0, "nothing was half-done");
        assert_eq!(contents(&bench), before);
        assert!(
            fs::read(bench.path("book")).unwrap() == bytes,
            "not a byte of it is left"
        );
    }
    let output = bench.output(&add("after it all"));
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    assert_eq!(notes(&bench).len(), 41);
    assert_eq!(length("book-journal"), 0, "the journal is gone");
}

#[test]
fn what_was_said_to_be_in_the_book_is_there_after_any_kill() {
    let bench = bench_with_book(1);
    let mut said = vec![];
    let mut killed = 0;
    for at in 0..60u64 {
        let note = format!("note {at}");
        let mut child = bench
            .command(&add(&note))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // From at once to long after its end.
        thread::sleep(Duration::from_micros(at * 400));
        let _ = child.kill();
        let output = child.wait_with_output().unwrap();
        killed += usize::from(output.status.signal() == Some(9));
        if String::from_utf8_lossy(&output.stdout).contains("is in the book") {
            said.push(note);
        }
    }
    let kept = notes(&bench);
    assert!(killed > 0, "no program was killed");
    for note in &said {
        assert_eq!(
            kept.iter().filter(|kept| *kept == note).count(),
            1,
            "{note} is lost or doubled"
        );
    }
    for note in &kept[1..] {
        assert!(note.starts_with("note "), "half a visit: {note}");
    }
}

/// The program in a shell that lets no file grow over so many blocks, as on a full disk.
fn with_little_room(bench: &Bench, blocks: u32, arguments: &[&str]) -> Output {
    let shell = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let program = bench.command(arguments);
    Command::new("sh")
        .args(["-c", &shell])
        .arg(program.get_program())
        .args(arguments)
        .current_dir(bench.path(""))
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

#[test]
fn where_a_file_cannot_grow_nothing_is_lost() {
    let bench = bench_with_book(40);
    let before = contents(&bench);
    bench.file("big.json", many(5_000, "no room").to_json().as_bytes());
    let import = ["book", "--book", "book", "import", "big.json"];
    let output = with_little_room(&bench, 256, &import);
    refused(&output, "the job book `book` cannot ");
    assert_eq!(contents(&bench), before);
    assert_eq!(bench.output(&import).status.code(), Some(0));
    assert_eq!(notes(&bench).len(), 5_040);
}

/// Mounts a small file system of its own: a disk that is really full.
#[cfg(target_os = "linux")]
#[test]
#[ignore = "mounts a small disk: needs root"]
fn on_a_full_disk_nothing_is_lost() {
    struct Mount<'a>(&'a Path);
    impl Drop for Mount<'_> {
        fn drop(&mut self) {
            let _ = Command::new("umount").arg(self.0).status();
        }
    }
    let bench = bench_with_book(40);
    let disk = bench.path("disk");
    fs::create_dir(&disk).unwrap();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=512k", "tmpfs"])
        .arg(&disk)
        .status()
        .unwrap();
    assert!(mounted.success(), "a small disk can be mounted");
    let mount = Mount(&disk);
    fs::copy(bench.path("book"), disk.join("book")).unwrap();
    bench.file("big.json", many(5_000, "no room").to_json().as_bytes());
    let before = contents(&bench);
    let output = bench.output(&["book", "--book", "disk/book", "import", "big.json"]);
    refused(
        &output,
        "the job book `disk/book` cannot grow: the disk is full",
    );
    let output = bench.output(&["book", "--book", "disk/book", "export"]);
    assert_eq!(String::from_utf8(output.stdout).unwrap(), before.to_json());
    // Full to the last byte, not even a small visit fits, and reading still works.
    let filled = fs::write(disk.join("rest"), vec![0; 1 << 20]);
    assert!(filled.is_err(), "the disk is full");
    let small = [
        "book",
        "--book",
        "disk/book",
        "add",
        "trimmer 4",
        "--note",
        "small",
    ];
    let output = bench.output(&small);
    assert_eq!(output.status.code(), Some(3), "{}", told(&output));
    fs::remove_file(disk.join("rest")).unwrap();
    assert_eq!(bench.output(&small).status.code(), Some(0));
    drop(mount);
}

/// The program as somebody who has no rights beyond those of the files: root may write everywhere.
fn as_nobody(bench: &Bench, arguments: &[&str]) -> Output {
    let program = bench.command(arguments);
    let copy = bench.path("engine-note");
    if !copy.exists() {
        fs::copy(program.get_program(), &copy).unwrap();
    }
    let mut command = Command::new(&copy);
    command
        .args(arguments)
        .current_dir(bench.path(""))
        .stdin(Stdio::null());
    if fs::metadata("/proc/self")
        .is_ok_and(|facts| std::os::unix::fs::MetadataExt::uid(&facts) == 0)
    {
        command.uid(65_534).gid(65_534);
    }
    command.output().unwrap()
}

fn mode(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

#[test]
fn in_a_read_only_folder_it_can_be_read_and_says_what_to_do() {
    let bench = bench_with_book(3);
    let before = contents(&bench);
    let (folder, book) = (bench.path(""), bench.path("book"));
    let export = ["book", "--book", "book", "export"];
    // The file may not be written; then the file may, but not the folder, where the journal would lie.
    for (file, kind) in [(0o444, "read-only file"), (0o666, "read-only folder")] {
        as_nobody(&bench, &["--version"]);
        mode(&book, file);
        mode(&folder, 0o555);
        let read = as_nobody(&bench, &export);
        let written = as_nobody(&bench, &add("not to be"));
        let begun = as_nobody(&bench, &["book", "--book", "other", "add", "saw 1"]);
        mode(&folder, 0o755);
        assert_eq!(
            String::from_utf8(read.stdout).unwrap(),
            before.to_json(),
            "{kind}"
        );
        refused(&written, "the job book `book` cannot be ");
        refused(&begun, "the job book `other` cannot be opened");
    }
    mode(&book, 0o644);
    assert_eq!(contents(&bench), before);
}

#[test]
fn a_newer_book_is_left_as_it_is() {
    let bench = bench_with_book(3);
    let file = rusqlite::Connection::open(bench.path("book")).unwrap();
    file.pragma_update(None, "user_version", VERSION + 1)
        .unwrap();
    drop(file);
    let bytes = fs::read(bench.path("book")).unwrap();
    for arguments in [
        &add("x")[..],
        &["book", "--book", "book", "list"],
        &["book", "--book", "book", "export", "--salvage"],
    ] {
        let output = bench.output(arguments);
        let newer = VERSION + 1;
        refused(
            &output,
            &format!(
                "the job book `book` has version {newer}; this program knows versions up to {VERSION}"
            ),
        );
    }
    assert_eq!(fs::read(bench.path("book")).unwrap(), bytes);
}

#[test]
fn a_book_that_another_program_holds_is_waited_for_and_then_named() {
    let bench = bench_with_book(3);
    let other = rusqlite::Connection::open(bench.path("book")).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    refused(
        &bench.output(&add("x")),
        "another program is using the job book `book`",
    );
    // One that lets go in time is waited for.
    let output = thread::scope(|scope| {
        let waiting = scope.spawn(|| bench.output(&add("waited")));
        thread::sleep(Duration::from_millis(700));
        other.execute_batch("COMMIT").unwrap();
        waiting.join().unwrap()
    });
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    assert_eq!(notes(&bench).len(), 4);
}

#[test]
fn a_damaged_book_is_not_written_and_gives_back_what_can_be_read() {
    let bench = bench_with_book(400);
    let before = contents(&bench);
    let whole = fs::read(bench.path("book")).unwrap();
    const PAGE: usize = 4_096;
    let pages = whole.len() / PAGE;
    assert!(pages > 20, "there is something to damage");
    // A page in the middle overwritten, as a failing disk does.
    let mut damaged = whole.clone();
    let at = pages / 2 * PAGE;
    damaged[at..at + PAGE].fill(0xA5);
    fs::write(bench.path("book"), &damaged).unwrap();
    for arguments in [
        &add("x")[..],
        &["book", "--book", "book", "list"],
        &["book", "--book", "book", "export"],
    ] {
        refused(&bench.output(arguments), "the job book `book` is damaged: ");
    }
    assert_eq!(
        fs::read(bench.path("book")).unwrap(),
        damaged,
        "not a byte was touched"
    );
    let output = bench.output(&["book", "--book", "book", "export", "--salvage"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    let saved = Contents::from_json(&String::from_utf8(output.stdout).unwrap()).unwrap();
    let (kept, all) = (saved.visits.len(), before.visits.len());
    assert!(kept < all && kept > all / 2, "{kept} of {all} saved");
    assert!(
        saved
            .visits
            .iter()
            .all(|entry| before.visits.contains(entry)),
        "nothing is invented"
    );
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(
        words,
        format!(
            "saved {kept} visits of 1 machines; {} could not be read\n",
            all - kept
        )
    );
    bench.file("saved.json", saved.to_json().as_bytes());
    let output = bench.output(&["book", "--book", "new", "import", "saved.json"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
}

#[test]
fn what_is_cut_short_or_no_book_at_all_is_named_and_not_touched() {
    let bench = bench_with_book(400);
    let whole = fs::read(bench.path("book")).unwrap();
    let mut smashed = whole.clone();
    smashed[..64].fill(0);
    let foreign = {
        let path = bench.path("foreign");
        let file = rusqlite::Connection::open(&path).unwrap();
        file.execute_batch("CREATE TABLE shopping (what TEXT)")
            .unwrap();
        drop(file);
        fs::read(path).unwrap()
    };
    let no_book = "`book` is not a job book, or its first bytes are damaged";
    let cases = [
        (
            whole[..whole.len() / 2].to_vec(),
            "the job book `book` is damaged: ",
        ),
        (whole[..5_000].to_vec(), "the job book `book` is damaged: "),
        (smashed, no_book),
        (foreign, no_book),
        (
            b"a shopping list, and nothing else, but long enough to be looked at\n".repeat(40),
            no_book,
        ),
    ];
    for (bytes, words) in cases {
        fs::write(bench.path("book"), &bytes).unwrap();
        refused(&bench.output(&add("x")), words);
        refused(&bench.output(&["book", "--book", "book", "list"]), words);
        assert!(
            fs::read(bench.path("book")).unwrap() == bytes,
            "not a byte was touched"
        );
    }
    refused(
        &bench.output(&["book", "--book", "nowhere", "list"]),
        "there is no job book at `nowhere`",
    );
    refused(
        &bench.output(&["book", "--book", "no/folder", "add", "saw 1"]),
        "the job book `no/folder` cannot be opened",
    );
    refused(
        &bench.output(&["book", "--book", ".", "list"]),
        "the job book `.` cannot be opened",
    );
    assert!(
        !bench.path("nowhere").exists(),
        "looking for a book does not begin one"
    );
}
