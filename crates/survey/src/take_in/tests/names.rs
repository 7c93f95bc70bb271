//! Names of devices and stations, declared and not (formats, section 10, ids and intake).

use super::*;

fn one(device: &str, station: &str) -> File {
    file(
        "a.csv",
        &format!("time, value, device, station\n12:00, 100, {device}, {station}"),
    )
}

#[test]
fn a_note_goes_before_the_column_and_the_column_before_the_route() {
    let named = |note: Option<&str>, column: &str, route: Option<&str>| {
        let text = |name: Option<&str>| name.map(str::to_owned);
        let made = one(column, column).with(|source| {
            (source.device_note, source.station_note) = (text(note), text(note));
            (source.device_fallback, source.station_fallback) = (text(route), text(route));
        });
        let reading = case([made]).done().readings.remove(0);
        (
            reading.device.to_string(),
            reading.station.map(|name| name.to_string()),
        )
    };
    let both = |name: &str| (name.to_owned(), Some(name.to_owned()));
    assert_eq!(named(Some("n"), "c", Some("r")), both("n"));
    assert_eq!(named(None, "c", Some("r")), both("c"));
    assert_eq!(named(None, "", Some("r")), both("r"));
    assert_eq!(named(Some(" "), "", Some("r")), both("r"), "a blank is no name");
    assert_eq!(named(None, "", None), ("unknown-device".to_owned(), None));
}

#[test]
fn ids_go_before_names() {
    let read = case([file(
        "a.csv",
        "time,  value, device,        station
         12:00, 100,   Bagged  phone, The top
         12:01, 100,   phone,         reef-top
         12:02, 100,   sensor,        sand",
    )])
    .with(|case| {
        case.phone().name = "Bagged  phone".to_owned();
        case.tank.stations[0].name = Some("The top".to_owned());
        // Called like another one's id.
        case.devices.get_mut("hired").unwrap().name = "sensor".to_owned();
        case.tank.stations[0].name = Some("The top".to_owned());
    });
    check_readings(
        &read,
        "device, station, reasons
         phone, reef-top,
         phone, reef-top,
         sensor, sand,",
    );
    assert!(read.done().survey.sources[0].renamed.is_empty());
}

#[test]
fn undeclared_names_become_ids_and_their_file_keeps_the_original() {
    let other = one("phone", "Lower Ledge").with(|source| source.file.path = "b.csv".into());
    let done = case([one("My Meter", "Left/Rock #2"), other]).done();
    let reading = &done.readings[0];
    assert_eq!(
        (&*reading.device, reading.station.as_deref()),
        ("my-meter", Some("left-rock--2"))
    );
    let text = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    assert_eq!(
        done.survey.sources[0].renamed,
        [text("Left/Rock #2", "left-rock--2"), text("My Meter", "my-meter")]
    );
    assert_eq!(
        done.survey.sources[1].renamed,
        [text("Lower Ledge", "lower-ledge")]
    );
    let meter = done
        .survey
        .devices
        .iter()
        .find(|device| device.id == "my-meter")
        .unwrap();
    assert_eq!((meter.name.as_str(), meter.declared), ("My Meter", false));
}

#[test]
fn two_names_that_become_one_id_are_refused() {
    let collision = |noun, first: &str, second: &str, id: &str| TakeInError::NameCollision {
        noun,
        first: first.to_owned(),
        second: second.to_owned(),
        id: id.to_owned(),
    };
    let stations = case([file(
        "a.csv",
        "time, value, station\n12:00, 1, Left Rock\n12:01, 1, left rock",
    )]);
    assert_eq!(
        stations.refused(),
        collision("station", "Left Rock", "left rock", "left-rock")
    );
    let text = stations.refused().to_string();
    assert!(
        text.contains("“Left Rock”") && text.contains("left-rock"),
        "{text}"
    );
    // With a declared id as well.
    assert_eq!(
        case([one("phone", "Reef Top")]).refused(),
        collision("station", "reef-top", "Reef Top", "reef-top")
    );
    assert_eq!(
        case([one("Phone", "reef-top")]).refused(),
        collision("device", "phone", "Phone", "phone")
    );
    // Across the files of a survey; and with a place that is called by its coordinates.
    let other = one("MY.METER", "b").with(|source| source.file.path = "b.csv".into());
    assert_eq!(
        case([one("my-meter", "a"), other]).refused(),
        collision("device", "my-meter", "MY.METER", "my-meter")
    );
    let unnamed = file("b.csv", "time, value, x, y, z\n11:00, 1, 1, 2, 3");
    assert_eq!(
        case([one("phone", "At 1 2 3"), unnamed]).refused(),
        collision("station", "at-1-2-3", "At 1 2 3", "at-1-2-3")
    );
}

#[test]
fn a_name_given_as_its_id_is_no_collision() {
    let read = case([file(
        "a.csv",
        "time, value, x, y, z, station\n12:00, 1, 30, 12, 25,\n12:01, 1, , , , at-30-12-25",
    )]);
    check_stations(&read, "station, readings, at\nat-30-12-25, 2, 30 12 25");
}

#[test]
fn too_many_devices_or_places_are_no_devices_and_no_places() {
    let many = |count: usize, set: fn(&mut ImportedRow, usize)| {
        let mut read = case([one("phone", "a")]);
        let row = read.files[0].rows[0].clone();
        read.files[0].rows = (0..count)
            .map(|number| {
                let mut row = row.clone();
                set(&mut row, number);
                row
            })
            .collect();
        read
    };
    let devices = |row: &mut ImportedRow, number: usize| row.device = Some(format!("d{number}").into());
    let stations = |row: &mut ImportedRow, number: usize| row.station = Some(format!("s{number}").into());
    assert_eq!(
        many(MOST_DEVICES, devices).done().survey.devices.len(),
        MOST_DEVICES
    );
    assert_eq!(
        many(MOST_DEVICES + 1, devices).refused(),
        TakeInError::TooManyDevices
    );
    assert_eq!(
        many(MOST_STATIONS + 1, stations).refused(),
        TakeInError::TooManyStations
    );
}
