//! A server on a new and empty folder, ended with the test.

use crate::server::rimebook;
use std::{
    io::{BufRead, BufReader},
    path::Path,
    process::{Child, ChildStdout, Command, Output, Stdio},
};
use tempfile::TempDir;

/// The program serves `data/tour` in a folder that only it has.
pub struct Fresh {
    /// `http://127.0.0.1:40123`, without a slash at the end.
    pub url: String,
    child: Child,
    /// Kept open, so that the program may go on writing to it.
    _output: BufReader<ChildStdout>,
    folder: TempDir,
}

impl Fresh {
    /// # Panics
    /// When the program does not say where it listens.
    pub fn start() -> Fresh {
        let folder = tempfile::tempdir().expect("a new folder");
        let mut child = Command::new(rimebook())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(folder.path().join("data/tour"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut output = BufReader::new(child.stdout.take().expect("its output is read here"));
        let mut line = String::new();
        output.read_line(&mut line).expect("it says something");
        let url = line.trim().strip_prefix("listening on ").unwrap_or_default().to_owned();
        let fresh = Fresh { url, child, _output: output, folder };
        assert!(fresh.url.starts_with("http://127.0.0.1:"), "{line}");
        fresh
    }

    /// A folder for whatever the test needs, gone with it.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Asks the server to stop as a person does, and waits for it: true if it said that all went well.
    ///
    /// # Panics
    /// When it can't be asked.
    pub fn stop(&mut self) -> bool {
        let asked = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(asked.expect("kill is there").success());
        self.child.wait().expect("it ends").success()
    }
}

impl Drop for Fresh {
    fn drop(&mut self) {
        // It may have ended by itself: then there is nothing to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Runs the program to its end.
///
/// # Panics
/// When it can't be started.
pub fn run(args: &[&str], folder: &Path) -> Output {
    Command::new(rimebook()).args(args).current_dir(folder).output().expect("the program starts")
}
