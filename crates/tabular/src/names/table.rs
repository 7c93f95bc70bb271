//! What columns are usually called, language by language. From memory; common practice, no source.

use super::{Language, Part, Role, Strength};

pub(super) const OPEN: Language = Language::Open;
const DAY: Language = Language::DayFirst;
const YEAR: Language = Language::YearFirst;

/// Whole names, folded, separated by `|`.
pub(super) const NAMES: &[(Role, Strength, Language, &str)] = &[
    (
        Role::Time,
        Strength::Exact,
        OPEN,
        "time|date|datetime|date time|timestamp|time stamp|date and time|time of day|measured at|logged at|recorded at|taken at|sampled at|local time|utc|utc time|time utc|date utc|datetime utc|timestamp utc|gmt|iso time|reading time|measurement time|measurement date|sample time|sample date|sampling time|sampling date|reading date|log time|record time|date hour|when|local datetime|local date time|ts|epoch|epoch time|unix|unix time|unixtime|unix timestamp|posix time",
    ),
    (
        Role::Time,
        Strength::Exact,
        DAY,
        "datum|zeit|uhrzeit|zeitpunkt|zeitstempel|datum zeit|datum uhrzeit|datum und uhrzeit|datum und zeit|messzeit|messdatum|messzeitpunkt|ortszeit|tag|heure|horodatage|horodate|date heure|date et heure|temps|date mesure|date de mesure|heure de mesure|heure locale|fecha|hora|fecha hora|fecha y hora|tiempo|marca de tiempo|fecha de medicion|data|data hora|data e hora|data ora|data e ora|ora|orario|tempo|carimbo de data hora|data da medicao|datum tijd|tijd|tijdstip|tijdstempel|datum en tijd|czas|data i czas|data czas|data i godzina|godzina|data pomiaru|czas pomiaru|dato|tid|tidspunkt|dato tid|dato og tid|dato klokkeslaet|klokkeslaet|klokkeslett|cas|datum cas|datum a cas|cas mereni|datum mereni|\u{434}\u{430}\u{442}\u{430}|\u{432}\u{440}\u{435}\u{43c}\u{44f}|\u{434}\u{430}\u{442}\u{430} \u{432}\u{440}\u{435}\u{43c}\u{44f}|\u{434}\u{430}\u{442}\u{430} \u{438} \u{432}\u{440}\u{435}\u{43c}\u{44f}",
    ),
    (
        Role::Time,
        Strength::Exact,
        YEAR,
        "datum tid|datum och tid|tidpunkt|klockslag|matdatum|mattid|idopont|datum ido|ido|\u{65e5}\u{6642}|\u{65e5}\u{4ed8}|\u{6642}\u{523b}|\u{6642}\u{9593}|\u{6e2c}\u{5b9a}\u{65e5}\u{6642}|\u{6e2c}\u{5b9a}\u{65e5}|\u{6e2c}\u{5b9a}\u{6642}\u{523b}|\u{8a08}\u{6e2c}\u{65e5}\u{6642}|\u{5e74}\u{6708}\u{65e5}|\u{65e5}\u{671f}|\u{65f6}\u{95f4}|\u{65e5}\u{671f}\u{65f6}\u{95f4}|\u{6d4b}\u{91cf}\u{65f6}\u{95f4}|\u{91c7}\u{96c6}\u{65f6}\u{95f4}|\u{65f6}\u{95f4}\u{6233}",
    ),
    (Role::Part(Part::Year), Strength::Exact, OPEN, "year|yyyy"),
    (
        Role::Part(Part::Year),
        Strength::Exact,
        DAY,
        "jahr|annee|ano|anno|jaar|rok|aar",
    ),
    (Role::Part(Part::Month), Strength::Exact, OPEN, "month|mon|mo"),
    (
        Role::Part(Part::Month),
        Strength::Exact,
        DAY,
        "monat|mois|mes|mese|maand|miesiac|maned|mesic",
    ),
    (
        Role::Part(Part::Day),
        Strength::Exact,
        OPEN,
        "day|day of month|dd",
    ),
    (
        Role::Part(Part::Day),
        Strength::Exact,
        DAY,
        "jour|dia|giorno|dag|dzien|den",
    ),
    (
        Role::Part(Part::DayOfYear),
        Strength::Exact,
        OPEN,
        "doy|day of year|julian day|julian date|yearday|jday|jd|year day",
    ),
    (
        Role::Part(Part::Hour),
        Strength::Exact,
        OPEN,
        "hour|hours|hh|hr|hhmm|time hhmm",
    ),
    (Role::Part(Part::Hour), Strength::Exact, DAY, "stunde|uur"),
    (
        Role::Part(Part::Minute),
        Strength::Exact,
        OPEN,
        "minute|minutes|min|minuto|minuut",
    ),
    (
        Role::Part(Part::Second),
        Strength::Exact,
        OPEN,
        "second|seconds|sec|ss|sekunde|seconde|secondo|segundo",
    ),
    (
        Role::Value,
        Strength::Exact,
        OPEN,
        "par|ppfd|pfd|photon flux|photon flux density|photosynthetic photon flux density|quantum|quantum flux|quantum light|light|light level|light intensity|lightlevel|illuminance|illumination|lux|lx|klx|irradiance|par value|par reading|ppfd value|ppfd reading|light reading|light value|umol|par umol|radiation|photosynthetically active radiation|photosynthetically available radiation|par light|par level|intensity|luminosity|epar|par irradiance|par meter|solar radiation|brightness",
    ),
    (
        Role::Value,
        Strength::Exact,
        DAY,
        "licht|lichtwert|lichtstarke|lichtintensitat|lichtmenge|beleuchtungsstarke|helligkeit|bestrahlungsstarke|photonenflussdichte|photonenstromdichte|par wert|ppfd wert|intensitat|strahlung|lumiere|eclairement|intensite lumineuse|luminosite|rayonnement|rpa|densite de flux de photons|luz|intensidad|intensidad luminosa|intensidad de luz|intensidad de la luz|iluminancia|irradiancia|radiacion|luminosidad|intensidade|intensidade luminosa|intensidade da luz|luminosidade|radiacao|luce|intensita|intensita luminosa|illuminamento|irradianza|radiazione|luminosita|lichtsterkte|lichtintensiteit|verlichtingssterkte|lichthoeveelheid|straling|swiatlo|natezenie swiatla|natezenie|oswietlenie|natezenie oswietlenia|naswietlenie|promieniowanie|lys|lysstyrke|lysintensitet|belysning|belysningsstyrke|lysniveau|svetlo|intenzita svetla|osvetleni|intenzita|osvit|\u{43e}\u{441}\u{432}\u{435}\u{449}\u{435}\u{43d}\u{43d}\u{43e}\u{441}\u{442}\u{44c}|\u{441}\u{432}\u{435}\u{442}|\u{444}\u{430}\u{440}",
    ),
    (
        Role::Value,
        Strength::Exact,
        YEAR,
        "ljus|ljusintensitet|ljusstyrka|ljusniva|belysningsstyrka|feny|fenyerosseg|\u{5149}\u{91cf}\u{5b50}|\u{5149}\u{91cf}\u{5b50}\u{675f}\u{5bc6}\u{5ea6}|\u{5149}\u{91cf}\u{5b50}\u{6750}\u{5bc6}\u{5ea6}|\u{5149}\u{5408}\u{6210}\u{6709}\u{52b9}\u{653e}\u{5c04}|\u{5149}\u{5408}\u{6210}\u{6709}\u{52b9}\u{5149}\u{91cf}\u{5b50}\u{675f}\u{5bc6}\u{5ea6}|\u{5149}\u{91cf}|\u{7167}\u{5ea6}|\u{660e}\u{308b}\u{3055}|\u{5149}\u{5f37}\u{5ea6}|\u{5149}\u{5f3a}|\u{5149}\u{7167}|\u{5149}\u{7167}\u{5f3a}\u{5ea6}|\u{5149}\u{5408}\u{6709}\u{6548}\u{8f90}\u{5c04}",
    ),
    (
        Role::Value,
        Strength::Weak,
        OPEN,
        "value|values|reading|readings|measurement|measured|measured value|result|output|signal|raw|raw value|sensor value",
    ),
    (
        Role::Value,
        Strength::Weak,
        DAY,
        "wert|messwert|messung|ergebnis|valeur|mesure|valeur mesuree|valor|medida|lectura|medicion|valor medido|leitura|medicao|valore|misura|lettura|waarde|meetwaarde|meting|wartosc|pomiar|odczyt|vaerdi|maling|malevaerdi|verdi|maleverdi|hodnota|mereni|\u{437}\u{43d}\u{430}\u{447}\u{435}\u{43d}\u{438}\u{435}",
    ),
    (
        Role::Value,
        Strength::Weak,
        YEAR,
        "varde|matvarde|matning|ertek|\u{6e2c}\u{5b9a}\u{5024}|\u{5024}|\u{8a08}\u{6e2c}\u{5024}|\u{6570}\u{503c}|\u{6d4b}\u{91cf}\u{503c}|\u{6578}\u{503c}",
    ),
    (
        Role::Unit,
        Strength::Exact,
        OPEN,
        "unit|units|uom|value unit|unit of measure",
    ),
    (
        Role::Unit,
        Strength::Exact,
        DAY,
        "einheit|masseinheit|unite|unidad|unidade|unita|eenheid|jednostka|enhed|enhet|jednotka",
    ),
    (
        Role::Unit,
        Strength::Exact,
        YEAR,
        "\u{5358}\u{4f4d}|\u{5355}\u{4f4d}",
    ),
    (
        Role::X,
        Strength::Exact,
        OPEN,
        "x|from left|left|from left side|distance from left",
    ),
    (
        Role::X,
        Strength::Exact,
        DAY,
        "von links|links|abstand links|abstand von links|depuis la gauche|gauche|distance gauche|desde la izquierda|izquierda|da esquerda|esquerda|da sinistra|sinistra|van links|vanaf links|od lewej|fra venstre|zleva",
    ),
    (
        Role::X,
        Strength::Exact,
        YEAR,
        "fran vanster|\u{5de6}\u{304b}\u{3089}",
    ),
    (
        Role::Y,
        Strength::Exact,
        OPEN,
        "y|from bottom|bottom|above bottom|from the bottom|height above bottom|distance from bottom",
    ),
    (
        Role::Y,
        Strength::Exact,
        DAY,
        "von unten|uber boden|uber grund|abstand boden|vom boden|depuis le fond|desde el fondo|do fundo|dal fondo|vanaf bodem|boven bodem|od dna|fra bunden|ode dna",
    ),
    (
        Role::Y,
        Strength::Exact,
        YEAR,
        "fran botten|\u{5e95}\u{304b}\u{3089}",
    ),
    (
        Role::Z,
        Strength::Exact,
        OPEN,
        "z|from front|front|from the front|distance from front",
    ),
    (
        Role::Z,
        Strength::Exact,
        DAY,
        "von vorne|von vorn|abstand vorne|depuis l avant|desde el frente|da frente|dal davanti|vanaf voorkant|van voren|od przodu|fra front|zepredu",
    ),
    (
        Role::Z,
        Strength::Exact,
        YEAR,
        "framifran|\u{524d}\u{304b}\u{3089}",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        OPEN,
        "depth|height|water depth|sensor depth|probe depth|measuring depth|elevation|level|pressure depth|from top|from surface|below surface",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        DAY,
        "tiefe|wassertiefe|messtiefe|hohe|profondeur|hauteur|profundidad|altura|profundidade|profondita|altezza|diepte|hoogte|waterdiepte|glebokosc|wysokosc|dybde|hojde|hoyde|hloubka|vyska",
    ),
    (
        Role::Vertical,
        Strength::Exact,
        YEAR,
        "djup|hojd|\u{6df1}\u{3055}|\u{6c34}\u{6df1}|\u{9ad8}\u{3055}|\u{6df1}\u{5ea6}|\u{9ad8}\u{5ea6}",
    ),
    (
        Role::Station,
        Strength::Exact,
        OPEN,
        "station|place|point|spot|location|position|measuring point|measurement point|station name|station id|point id|point name|location name|sampling point|sample point|pos|waypoint|measuring place",
    ),
    (
        Role::Station,
        Strength::Exact,
        DAY,
        "messpunkt|messstelle|punkt|ort|messort|stelle|standort|lieu|point de mesure|emplacement|endroit|estacion|punto|lugar|punto de medida|punto de medicion|ubicacion|posicion|estacao|ponto|local|ponto de medicao|posicao|stazione|luogo|punto di misura|posizione|meetpunt|locatie|plaats|plek|positie|stanowisko|miejsce|punkt pomiarowy|pozycja|malepunkt|sted|plads|bod|misto|merici bod|pozice|stanoviste|stanice|\u{442}\u{43e}\u{447}\u{43a}\u{430}|\u{43c}\u{435}\u{441}\u{442}\u{43e}",
    ),
    (
        Role::Station,
        Strength::Exact,
        YEAR,
        "matpunkt|plats|matplats|hely|\u{5730}\u{70b9}|\u{6e2c}\u{5b9a}\u{5730}\u{70b9}|\u{5834}\u{6240}|\u{6e2c}\u{5b9a}\u{70b9}|\u{4f4d}\u{7f6e}|\u{6e2c}\u{5b9a}\u{5834}\u{6240}|\u{5730}\u{70b9}\u{540d}|\u{7ad9}\u{70b9}|\u{6d4b}\u{70b9}|\u{5730}\u{70b9}\u{540d}\u{79f0}|\u{6d4b}\u{91cf}\u{70b9}",
    ),
    (
        Role::Station,
        Strength::Weak,
        OPEN,
        "site|site name|name|label|where|area|zone|title",
    ),
    (
        Role::Station,
        Strength::Weak,
        DAY,
        "bezeichnung|bereich|nom|site de mesure|nombre|nome|naam|nazwa|navn|nazev|sitio",
    ),
    (
        Role::Station,
        Strength::Weak,
        YEAR,
        "namn|\u{540d}\u{524d}|\u{540d}\u{79f0}",
    ),
    (
        Role::Device,
        Strength::Exact,
        OPEN,
        "device|sensor|probe|instrument|logger|meter|device id|sensor id|device name|sensor name|logger id|serial|serial number|instrument id|sonde",
    ),
    (
        Role::Device,
        Strength::Exact,
        DAY,
        "gerat|messgerat|sensor nr|seriennummer|capteur|appareil|aparato|dispositivo|sonda|apparecchio|sensore|strumento|apparaat|toestel|meettoestel|urzadzenie|czujnik|enhed id|apparat|maler|pristroj|cidlo|senzor|zarizeni|equipo|equipamento",
    ),
    (
        Role::Device,
        Strength::Exact,
        YEAR,
        "givare|matare|enhet id|\u{6a5f}\u{5668}|\u{6e2c}\u{5b9a}\u{5668}|\u{30bb}\u{30f3}\u{30b5}\u{30fc}|\u{30bb}\u{30f3}\u{30b5}|\u{8bbe}\u{5907}|\u{4f20}\u{611f}\u{5668}|\u{4eea}\u{5668}",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        OPEN,
        "tilt|tilt angle|inclination|sensor tilt",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        DAY,
        "neigung|neigungswinkel|schieflage|inclinaison|inclinacion|inclinacao|inclinazione|helling|hellingshoek|kantel|nachylenie|haeldning|helning|naklon|sklon",
    ),
    (
        Role::Tilt,
        Strength::Exact,
        YEAR,
        "lutning|\u{50be}\u{304d}|\u{50be}\u{659c}|\u{503e}\u{659c}|\u{503e}\u{89d2}",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        OPEN,
        "temperature|temp|water temperature|water temp|sensor temperature|sensor temp|device temperature|air temperature|air temp|temp c|internal temperature|logger temperature|t water|board temp",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        DAY,
        "temperatur|wassertemperatur|wassertemp|temperature de l eau|temperature eau|temperatura|temperatura del agua|temperatura da agua|temperatura acqua|temperatura dell acqua|temperatuur|watertemperatuur|temperatura wody|vandtemperatur|vanntemperatur|teplota|teplota vody|temperatura agua",
    ),
    (
        Role::Temperature,
        Strength::Exact,
        YEAR,
        "vattentemperatur|homerseklet|\u{6e29}\u{5ea6}|\u{6c34}\u{6e29}",
    ),
    (
        Role::Remark,
        Strength::Exact,
        OPEN,
        "remark|remarks|comment|comments|note|notes|observation|observations|annotation",
    ),
    (
        Role::Remark,
        Strength::Exact,
        DAY,
        "bemerkung|bemerkungen|anmerkung|anmerkungen|kommentar|notiz|hinweis|remarque|remarques|commentaire|commentaires|observacion|observaciones|comentario|comentarios|nota|notas|observacao|observacoes|osservazioni|osservazione|commento|commenti|opmerking|opmerkingen|uwagi|uwaga|komentarz|bemaerkning|bemaerkninger|bemerkning|merknad|poznamka|komentar|\u{43f}\u{440}\u{438}\u{43c}\u{435}\u{447}\u{430}\u{43d}\u{438}\u{435}",
    ),
    (
        Role::Remark,
        Strength::Exact,
        YEAR,
        "anmarkning|anteckning|megjegyzes|\u{5099}\u{8003}|\u{30b3}\u{30e1}\u{30f3}\u{30c8}|\u{30e1}\u{30e2}|\u{5907}\u{6ce8}",
    ),
    (
        Role::Counter,
        Strength::Exact,
        OPEN,
        "no|nr|num|number|id|index|record|record no|record number|row|line|seq|sequence|n|count|sample|sample no|reading no|entry|counter|recnum|scan",
    ),
    (
        Role::Counter,
        Strength::Exact,
        DAY,
        "lfd nr|nummer|lfd|numero|no de mesure|messung nr|lp|poradi|cislo",
    ),
    (
        Role::Counter,
        Strength::Exact,
        YEAR,
        "lopnr|\u{756a}\u{53f7}|\u{5e8f}\u{53f7}|\u{7f16}\u{53f7}",
    ),
];

/// Words that make any name one for light.
pub(super) const LIGHT_WORDS: &str = "par ppfd pfd epar lux klux illuminance irradiance light licht luz luce lumiere eclairement \
     beleuchtungsstarke swiatlo ljus lys svetlo quantum";

/// Words that make a column tell about another one, not a reading of its own.
pub(super) const ASIDE_WORDS: &str = "sd std stdev stddev stdabw standardabweichung deviation err error uncertainty unc u sem se n \
     count counts flag flags quality qc status limit target setpoint soll ziel min minimum max maximum dli percent \
     proz prozent pct gain offset calibration factor faktor ratio channel battery";

/// Words that the name of a reading's time may hold beside the word for time or date.
pub(super) const TIME_WORDS: &str = "time date datetime timestamp stamp datum uhrzeit zeit fecha hora heure tijd and und et y e en utc gmt \
     local lokal locale local iso of the de der des du del measurement measured measuring mess messung mesure medicion sample \
     sampling reading readings logger log logged record recorded recording survey start begin beginn debut inicio inizio \
     device sensor instrument system clock standard solar hh mm ss dd yyyy yy";

/// Short names of zones: none of them tells the offset without place or season.
pub(super) const SHORT_ZONES: &str = "CET CEST MEZ MESZ WET WEST EET EEST BST IST EST EDT CST CDT MST MDT PST PDT AKST AKDT HST JST KST \
     AEST AEDT ACST AWST NZST NZDT MSK SAST";
