//! `hoofgeo place`

use super::measure::stop_on_interrupt;
use crate::Outcome;
use crate::args::PlaceArgs;
use crate::output::{print, print_line};
use crate::terminal::name as visible;
use hoofgeo::Result;
use hoofgeo::place::{PlaceOptions, Server};
use std::process::{Command, Stdio};
use std::sync::Arc;

pub(crate) fn run(args: &PlaceArgs) -> Result<Outcome> {
    let stop = stop_on_interrupt()?;
    let options = PlaceOptions {
        observer: args.observer.clone(),
        repeat: args.repeat,
        out: args.out.clone(),
        results: args.results.clone(),
    };
    let server = Server::bind(&args.folder, options, args.port, Arc::clone(&stop))?;
    let photos = match server.photos() {
        1 => "1 photo".to_owned(),
        n => format!("{n} photos"),
    };
    print(format_args!(
        "{photos} of {}; open in a browser of this machine:\n\n  {}\n\n",
        visible(args.folder.display()),
        server.address()
    ))?;
    if !args.no_open && open(&server) {
        print_line("The browser was asked to open it.")?;
    }
    print_line("Everything is saved as you go. Ctrl-C ends.")?;
    server.run();
    print_line("ended; everything is saved")?;
    Ok(Outcome::Done)
}

/// Asks the desktop for its browser, where there is a desktop.
fn open(server: &Server) -> bool {
    let shown = |name| std::env::var_os(name).is_some_and(|v| !v.is_empty());
    let program: &[&str] = if cfg!(target_os = "macos") {
        &["open"]
    } else if cfg!(windows) {
        &["rundll32", "url.dll,FileProtocolHandler"]
    } else if shown("DISPLAY") || shown("WAYLAND_DISPLAY") {
        &["xdg-open"]
    } else {
        return false;
    };
    // Where the file cannot be written the address is on the screen.
    let Ok(page) = server.opening_page() else { return false };
    let quiet = Command::new(program[0])
        .args(&program[1..])
        .arg(page)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    quiet.is_ok()
}
