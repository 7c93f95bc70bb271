//! Several devices at one station (formats, section 10, surveys).

use super::*;

const THREE: &str = "time,  value, device, station
                     12:00, 210,   sensor, reef-top
                     12:01, 211,   sensor, reef-top
                     12:02, 209,   sensor, reef-top
                     12:03, 190,   hired,  reef-top
                     12:04, 200,   phone,  reef-top
                     12:05, 200,   phone,  reef-top";

#[test]
fn a_references_readings_alone_make_the_value() {
    let read = case([file("a.csv", THREE)]);
    check_stations(
        &read,
        "station, readings, used, device, ppfd, flag
         reef-top, 6, 1, hired, 190, 1",
    );
    // The others are good readings all the same.
    assert!(
        read.done()
            .readings
            .iter()
            .all(|reading| reading.flag == Flag::Good)
    );
    assert!(read.done().survey.tied_to_reference);
}

#[test]
fn otherwise_those_of_the_device_with_most_used_readings_and_of_equals_the_first_id() {
    let without = |device: &str| {
        let lines: Vec<&str> = THREE.lines().filter(|line| !line.contains(device)).collect();
        lines.join("\n")
    };
    let read = case([file("a.csv", &without("hired"))]);
    check_stations(
        &read,
        "station, readings, used, device, ppfd
         reef-top, 5, 3, sensor, 210",
    );
    assert!(!read.done().survey.tied_to_reference);
    let equal = without("hired").replace("12:02, 209,   sensor, reef-top", "");
    check_stations(
        &case([file("a.csv", &equal)]),
        "station, readings, used, device, ppfd
         reef-top, 4, 2, phone, 200",
    );
}

#[test]
fn most_used_counts_what_is_left_after_rejections() {
    let read = case([file(
        "a.csv",
        "time,  value, tilt, device, station
         12:00, 210,   30,   sensor, reef-top
         12:01, 211,   30,   sensor, reef-top
         12:02, 209,   ,     sensor, reef-top
         12:03, 200,   ,     phone,  reef-top
         12:04, 200,   ,     phone,  reef-top",
    )])
    .with(|case| case.devices.get_mut("sensor").unwrap().max_tilt_deg = Some(8.0));
    check_stations(
        &read,
        "station, readings, used, device, reasons
         reef-top, 5, 2, phone, tilt",
    );
}

#[test]
fn each_device_is_listed_with_what_it_read() {
    let done = case([file("a.csv", THREE)]).done();
    let told: Vec<_> = done
        .survey
        .devices
        .iter()
        .map(|device| (device.id.as_str(), device.readings, device.is_reference))
        .collect();
    assert_eq!(
        told,
        [("hired", 1, true), ("phone", 2, false), ("sensor", 3, false)]
    );
    let sensor = &done.survey.devices[2];
    assert_eq!(sensor.corrections.len(), 1);
    assert!(
        sensor.corrections[0].contains("2026-03-01"),
        "{:?}",
        sensor.corrections
    );
}

#[test]
fn bursts_of_several_devices_do_not_mix() {
    // Each steady in itself; together they would be taken for a moving light.
    let read = case([file(
        "a.csv",
        "time,  value, device, station
         12:00, 100,   sensor, reef-top
         12:01, 300,   phone,  reef-top
         12:02, 101,   sensor, reef-top
         12:03, 301,   phone,  reef-top
         12:04, 99,    sensor, reef-top
         12:05, 299,   phone,  reef-top
         12:06, 300,   phone,  reef-top",
    )]);
    check_stations(
        &read,
        "station, readings, used, device, ppfd, flag, reasons
         reef-top, 7, 4, phone, 300, 1,",
    );
}

#[test]
fn a_burst_goes_on_across_files() {
    let read = case([
        file(
            "a.csv",
            "time, value, station\n12:00, 200, reef-top\n12:02, 202, reef-top",
        ),
        file(
            "b.csv",
            "time, value, station\n12:01, 100, reef-top\n12:03, 198, reef-top",
        ),
    ]);
    check_readings(
        &read,
        "source, row, reasons
         a.csv, 2,
         b.csv, 2, shadow
         a.csv, 3,
         b.csv, 3,",
    );
}

#[test]
fn the_order_of_arrival_changes_no_station() {
    let files = || {
        let table = |minute: usize| {
            let lines = (0..12).map(|second| {
                let value = 200 + (second * 7 + minute * 3) % 9;
                format!("12:{minute:02}:{second:02}, {value}, {}\n", 30 + second % 3)
            });
            format!("time, value, x\n{}", lines.collect::<String>())
        };
        (0..5)
            .map(|number| {
                let mut made = file(&format!("{number}.csv"), &table(number));
                for row in &mut made.rows {
                    (row.y, row.z) = (Some(12.0), Some(25.0));
                }
                made
            })
            .collect::<Vec<_>>()
    };
    let as_listed = case(files()).done();
    for order in [[4, 3, 2, 1, 0], [2, 0, 4, 1, 3]] {
        let mut shuffled: Vec<Option<File>> = files().into_iter().map(Some).collect();
        let arrived = order.map(|number: usize| shuffled[number].take().unwrap());
        let done = case(arrived).done();
        assert_eq!(done.survey.stations, as_listed.survey.stations);
        assert_eq!(done.readings, as_listed.readings);
    }
}
