//! The product as a program of its own: loads a log into a new folder, serves it, and is ended with the test.

use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};

use tempfile::TempDir;

/// A server on a folder that only it has. Both are gone when it is dropped.
pub struct Server {
    /// `http://127.0.0.1:40123`, without a slash at the end.
    pub url: String,
    _running: Running,
    _folder: TempDir,
}

/// The program, serving a folder that may outlive it.
pub struct Running {
    /// `http://127.0.0.1:40123`, without a slash at the end.
    pub url: String,
    child: Child,
    /// Kept open, so that the program may go on writing to it.
    output: BufReader<ChildStdout>,
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself: then there is nothing to end.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Running {
    /// Starts the program on this folder and does not wait for it to be ready.
    ///
    /// # Panics
    /// When it can't be started.
    pub fn start(data: &Path) -> Running {
        Running::start_with(data, &[])
    }

    /// The same with more arguments.
    ///
    /// # Panics
    /// When it can't be started.
    pub fn start_with(data: &Path, more: &[&str]) -> Running {
        let mut child = Command::new(rimebook())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .args(more)
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let output = BufReader::new(child.stdout.take().expect("its output is read here"));
        Running { url: String::new(), child, output }
    }

    /// Starts the program on this folder and waits until it says where it listens.
    ///
    /// # Panics
    /// When it does not; with what it said.
    pub fn serve(data: &Path) -> Running {
        Running::serve_with(data, &[])
    }

    /// The same with more arguments.
    ///
    /// # Panics
    /// When it does not say where it listens; with what it said.
    pub fn serve_with(data: &Path, more: &[&str]) -> Running {
        let mut running = Running::start_with(data, more);
        let mut said = String::new();
        for line in running.output.by_ref().lines().map_while(Result::ok) {
            if let Some(url) =
                line.split_whitespace().find(|word| word.starts_with("http://") || word.starts_with("https://"))
            {
                running.url = url.trim_end_matches('/').to_owned();
                return running;
            }
            said.push_str(&line);
        }
        panic!("it did not say where it listens: {said}");
    }

    /// Ends it at once, as a power switch would end the program but not the disk.
    ///
    /// # Panics
    /// When it has ended by itself.
    pub fn kill(&mut self) {
        assert!(self.child.try_wait().expect("it can be asked").is_none(), "it ended by itself");
        self.child.kill().expect("it is killed");
        self.child.wait().expect("it ends");
    }
}

/// The program beside this test's own, as cargo lays them out.
///
/// # Panics
/// When it was not built.
pub fn rimebook() -> PathBuf {
    let test = std::env::current_exe().expect("the test knows its own path");
    let folder = test.parent().and_then(|deps| deps.parent()).expect("tests lie in <target>/<profile>/deps");
    let program = folder.join(format!("rimebook{}", std::env::consts::EXE_SUFFIX));
    assert!(program.exists(), "{} is missing; build it first: cargo build -p server", program.display());
    program
}

/// Loads the lines into an empty folder and serves it on a port that is free.
///
/// # Panics
/// When the program does not load or serve it; with what it said.
pub fn load_and_serve(jsonl: &str) -> Server {
    let folder = TempDir::new().expect("a new folder");
    let (lines, data) = (folder.path().join("history.jsonl"), folder.path().join("data"));
    fs::write(&lines, jsonl).expect("the lines are written");

    let loaded = Command::new(rimebook()).arg("load").arg(&lines).arg("--data").arg(&data).output();
    let loaded = loaded.expect("the program starts");
    let said = String::from_utf8_lossy(&loaded.stderr);
    assert!(loaded.status.success(), "it did not load the lines: {said}{}", String::from_utf8_lossy(&loaded.stdout));

    let running = Running::serve(&data);
    Server { url: running.url.clone(), _running: running, _folder: folder }
}
