//! A fresh folder to run the program in, and what a run gave.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// A fresh folder, gone after the test.
pub(crate) struct Desk {
    folder: TempDir,
}

/// What one run gave.
#[derive(Debug)]
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Desk {
    /// An empty folder.
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// The same folder, with a file in it.
    pub(crate) fn with(self, name: &str, bytes: impl AsRef<[u8]>) -> Self {
        fs::write(self.path(name), bytes).unwrap();
        self
    }

    /// The path of a file in the folder.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The text of a file in the folder.
    pub(crate) fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    /// The names in the folder, in order.
    pub(crate) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// Runs the program in the folder, nothing on standard input.
    pub(crate) fn run(&self, args: &[&str]) -> Ran {
        self.run_with(args, b"")
    }

    /// Runs the program in the folder with these bytes on standard input.
    pub(crate) fn run_with(&self, args: &[&str], input: &[u8]) -> Ran {
        let mut child = program(self.folder.path())
            .args(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // A program that ends before reading all of its input is no failure of the test.
        let _ = child.stdin.take().unwrap().write_all(input);
        let output = child.wait_with_output().unwrap();
        Ran {
            code: output.status.code().unwrap(),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// The program, in a folder, with nothing of the tester's own surroundings.
pub(crate) fn program(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_matins"));
    command.current_dir(folder).env_clear();
    command
}

impl Ran {
    /// The run gave exactly this.
    #[track_caller]
    pub(crate) fn is(&self, code: i32, stdout: &str, stderr: &str) {
        assert_eq!(self.stderr, stderr, "standard error");
        assert_eq!(self.stdout, stdout, "standard output");
        assert_eq!(self.code, code, "exit code");
    }

    /// The run failed with this code and these words, and printed no data.
    #[track_caller]
    pub(crate) fn fails(&self, code: i32, stderr: &str) {
        self.is(code, "", stderr);
    }

    /// The run printed what stands in `tests/it/expected/NAME`; `UPDATE=1` writes it anew.
    #[track_caller]
    pub(crate) fn prints(&self, name: &str, stderr: &str) {
        assert_eq!(self.stderr, stderr, "standard error");
        assert_eq!(self.code, 0, "exit code");
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/expected").join(name);
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&path, &self.stdout).unwrap();
        }
        let expected = fs::read_to_string(&path).unwrap_or_default();
        assert_eq!(self.stdout, expected, "{}", path.display());
    }
}
