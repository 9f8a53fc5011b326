BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE entries (
	seq INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	kind TEXT NOT NULL, 
	exercise TEXT, 
	target TEXT, 
	host_boot TEXT NOT NULL, 
	at_us INTEGER NOT NULL, 
	wall TEXT, 
	body TEXT NOT NULL, 
	prev TEXT NOT NULL, 
	hash TEXT NOT NULL
);
INSERT INTO "entries" VALUES(1,'AllOffConfirmed',NULL,'0a1b2c3d','boot-1',1000000,NULL,'{"at":{"boot":"boot-1","us":1000000},"epoch":7,"quiet":true,"target":"0a1b2c3d"}','245c8625acc2db7e2b483a9f778954156b7d47d8577e9c45071421e7a7eb4edf','e8f50062962b49466f9aa2ce8d5f2d0a1f7794fbe22e54967519853ea21a05d7');
INSERT INTO "entries" VALUES(2,'AllOffOrdered',NULL,NULL,'boot-1',1000001,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","epoch":7,"via":"via é"}','e8f50062962b49466f9aa2ce8d5f2d0a1f7794fbe22e54967519853ea21a05d7','3524ebd01a34b0d81e2674297758fb2c43285eadba03ee5236c57174d449a31b');
INSERT INTO "entries" VALUES(3,'AllOffReleased',NULL,NULL,'boot-1',1000002,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","epoch":7,"reason":"reason é"}','3524ebd01a34b0d81e2674297758fb2c43285eadba03ee5236c57174d449a31b','241ace0be4dd73584ef8fd0af571b733936b31f18963355f711f4ac695c34804');
INSERT INTO "entries" VALUES(4,'CallMade','exercise é',NULL,'boot-1',1000003,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","call":"call é","exercise":"exercise é","searcher":"searcher é"}','241ace0be4dd73584ef8fd0af571b733936b31f18963355f711f4ac695c34804','08a95bb02638373f7e922cb11de3c66cb8091397c62d9a2dcb8e878c11c4b147');
INSERT INTO "entries" VALUES(5,'ControllerStarted',NULL,NULL,'boot-1',1000004,NULL,'{"at":{"boot":"boot-1","us":1000000},"clean":true,"generation":7,"version":"version é"}','08a95bb02638373f7e922cb11de3c66cb8091397c62d9a2dcb8e878c11c4b147','a75845c70256133ff19fe8b9ebdd5d0fb08a1f06c7ff062839d19f4c415c06f2');
INSERT INTO "entries" VALUES(6,'ControllerStopped',NULL,NULL,'boot-1',1000005,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"why":"why é"}','a75845c70256133ff19fe8b9ebdd5d0fb08a1f06c7ff062839d19f4c415c06f2','0ce670b1c747105a5884c06351de10e5838d77eecaded636738141cfb24a5692');
INSERT INTO "entries" VALUES(7,'Corrected','exercise é',NULL,'boot-1',1000006,NULL,'{"about":"about é","at":{"boot":"boot-1","us":1000000},"by":"by é","change":"change é","correction":"correction é","exercise":"exercise é","value":"value é","why":"why é"}','0ce670b1c747105a5884c06351de10e5838d77eecaded636738141cfb24a5692','d4fe0def779f1f4b5da8cad2ea17ff326bd888da919998e885550837ecb6722b');
INSERT INTO "entries" VALUES(8,'DayClosed',NULL,NULL,'boot-1',1000007,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exceptions":["exceptions é"],"heard_sending":["heard_sending é"],"listening_walk":"listening_walk é","own_units_back":true,"signed":"signed é"}','d4fe0def779f1f4b5da8cad2ea17ff326bd888da919998e885550837ecb6722b','f3ed8c5552a2c524c0d6041e726484f84a107aa4e2612f732f5ce46dcc3de111');
INSERT INTO "entries" VALUES(9,'DayOpened',NULL,NULL,'boot-1',1000008,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","hazard":"hazard é","heard":["heard é"],"not_heard":["not_heard é"],"notes":"notes é","snow_m":1.5,"stray_sweep":"stray_sweep é","touched":["touched é"]}','f3ed8c5552a2c524c0d6041e726484f84a107aa4e2612f732f5ce46dcc3de111','a5ed8b5f59308f8ef1b20b94bd975fb72d6d191409f8ed4677d8aeb011b5129e');
INSERT INTO "entries" VALUES(10,'ExerciseEnded','exercise é',NULL,'boot-1',1000009,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","how":"how é"}','a5ed8b5f59308f8ef1b20b94bd975fb72d6d191409f8ed4677d8aeb011b5129e','d134e849a810c968466fd7f0677892ea4f7d95d85101119c22df4ee3c3f6b57d');
INSERT INTO "entries" VALUES(11,'ExerciseInterrupted','exercise é',NULL,'boot-1',1000010,NULL,'{"at":{"boot":"boot-1","us":1000000},"exercise":"exercise é","last_known":{"boot":"boot-1","us":1000000},"why":"why é"}','d134e849a810c968466fd7f0677892ea4f7d95d85101119c22df4ee3c3f6b57d','5ef0f5392c2fd0498415a206a6e94c13c9aea21c63b2256e14758005b5f47c05');
INSERT INTO "entries" VALUES(12,'ExerciseReopened','exercise é',NULL,'boot-1',1000011,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é"}','5ef0f5392c2fd0498415a206a6e94c13c9aea21c63b2256e14758005b5f47c05','9b6106e9263a53147336fb333294379d110df7c324af000ec91add684db35bcc');
INSERT INTO "entries" VALUES(13,'ExerciseResumed','exercise é',NULL,'boot-1',1000012,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","gap_us":7}','9b6106e9263a53147336fb333294379d110df7c324af000ec91add684db35bcc','ac91b4bad97302946e2c54d0d30b07c3affb51fb87308b15326dffeff3c436f4');
INSERT INTO "entries" VALUES(14,'ExerciseStarted','exercise é',NULL,'boot-1',1000013,'2030-01-02T10:00:00Z','{"by":"by é","conditions":{"A":"0a1b2c3d"},"drill":"drill é","exercise":"exercise é","picks":{"A":"0a1b2c3d"},"plan":{"A":"0a1b2c3d"},"searchers":["searchers é"],"seed":7,"start":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900}}','ac91b4bad97302946e2c54d0d30b07c3affb51fb87308b15326dffeff3c436f4','41bf09165b0055070ecca499e982f3ba14236584a72ad20f14c7f3d0242af4c1');
INSERT INTO "entries" VALUES(15,'GenerationRaised',NULL,NULL,'boot-1',1000014,NULL,'{"by":"by é","generation":7,"reason":"reason é"}','41bf09165b0055070ecca499e982f3ba14236584a72ad20f14c7f3d0242af4c1','f708ae70bd4b8a40d8e6c8fb470f947fa20ea2b27567aaac94a17c89baf479a7');
INSERT INTO "entries" VALUES(16,'GrantEnded',NULL,'0a1b2c3d','boot-1',1000015,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"grant":7,"target":"0a1b2c3d","why":"why é"}','f708ae70bd4b8a40d8e6c8fb470f947fa20ea2b27567aaac94a17c89baf479a7','899f578262f289170394c3155f57f0e1ab80cfedfa76b8fbe10664d574e356e1');
INSERT INTO "entries" VALUES(17,'GrantGiven','exercise é','0a1b2c3d','boot-1',1000016,NULL,'{"boot":7,"burial":"burial é","drop_off_s":1.5,"drop_on_s":1.5,"epoch":7,"exercise":"exercise é","from_ticks":7,"generation":7,"grant":7,"level":7,"limit_at":{"boot":"boot-1","us":1000000},"limit_ticks":7,"on_ms":7,"period_ms":7,"purpose":"purpose é","target":"0a1b2c3d","until_ticks":7}','899f578262f289170394c3155f57f0e1ab80cfedfa76b8fbe10664d574e356e1','9423cf7a864a960befe7445ec238d51e920de63d477e3353627ed08a38cea1b3');
INSERT INTO "entries" VALUES(18,'KeysRotated',NULL,'0a1b2c3d','boot-1',1000017,'2030-01-02T10:00:00Z','{"by":"by é","key_version":7,"target":"0a1b2c3d"}','9423cf7a864a960befe7445ec238d51e920de63d477e3353627ed08a38cea1b3','5de261fe9bb7a651d2566b1146459d2ee05970be3789eb0f418f48ab92a94cf2');
INSERT INTO "entries" VALUES(19,'LinkChanged',NULL,NULL,'boot-1',1000018,NULL,'{"at":{"boot":"boot-1","us":1000000},"link":"link é","up":true,"why":"why é"}','5de261fe9bb7a651d2566b1146459d2ee05970be3789eb0f418f48ab92a94cf2','41b8da503bc0fd7fef6a04c9bf156c041d08b6181a87226b1d615226d2172cf0');
INSERT INTO "entries" VALUES(20,'ManualIn',NULL,NULL,'boot-1',1000019,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","seen_off":true,"unit":"unit é"}','41b8da503bc0fd7fef6a04c9bf156c041d08b6181a87226b1d615226d2172cf0','fc2be33a7a7c72218dcbf4f6de5b2d86edbb28bd103b7f83aed711c6b06aa751');
INSERT INTO "entries" VALUES(21,'ManualOut',NULL,NULL,'boot-1',1000020,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","place":"place é","unit":"unit é","zone":"zone é"}','fc2be33a7a7c72218dcbf4f6de5b2d86edbb28bd103b7f83aed711c6b06aa751','6916d178c81d0c577de97abf6fecd0a7b3e39e94a3b3f8d0d0fb50c8d1bcfb36');
INSERT INTO "entries" VALUES(22,'OrderEnded',NULL,'0a1b2c3d','boot-1',1000021,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"late_us":7,"order":7,"outcome":"outcome é","target":"0a1b2c3d","what":"what é","why":"why é"}','6916d178c81d0c577de97abf6fecd0a7b3e39e94a3b3f8d0d0fb50c8d1bcfb36','86e1046f4b431b8a9c67126df0abef5728e73f85dd191ace03e6f529c35c8dcd');
INSERT INTO "entries" VALUES(23,'QuestionAnswered','exercise é',NULL,'boot-1',1000022,NULL,'{"answer":"answer é","at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","question":"question é"}','86e1046f4b431b8a9c67126df0abef5728e73f85dd191ace03e6f529c35c8dcd','5f96d9da6ff313ed647a355922d4f5245b2a148bfc990fefd99e8a41ec3f6021');
INSERT INTO "entries" VALUES(24,'QuestionAsked','exercise é',NULL,'boot-1',1000023,'2030-01-02T10:00:00Z','{"about":"about é","at":{"boot":"boot-1","us":1000000},"choices":["choices é"],"exercise":"exercise é","question":"question é","what":"what é"}','5f96d9da6ff313ed647a355922d4f5245b2a148bfc990fefd99e8a41ec3f6021','ac5ce5fe0c1fe5ba6e3a1e6bbc53e56f1c299a5fcb352a45f1d175d57a1e73a3');
INSERT INTO "entries" VALUES(25,'SignalDue','exercise é',NULL,'boot-1',1000024,NULL,'{"at":{"boot":"boot-1","us":1000000},"because":"because é","burial":"burial é","exercise":"exercise é"}','ac5ce5fe0c1fe5ba6e3a1e6bbc53e56f1c299a5fcb352a45f1d175d57a1e73a3','c2017413e33caf31f725fd7182abad5be47de71861da8409542bbce5dca2c97a');
INSERT INTO "entries" VALUES(26,'SignalOff','exercise é','0a1b2c3d','boot-1',1000025,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d","why":"why é"}','c2017413e33caf31f725fd7182abad5be47de71861da8409542bbce5dca2c97a','5e0196ab8ff62e606fa2d4fae5d66e2b678dee7ab7bcf118f07d17cb805356d3');
INSERT INTO "entries" VALUES(27,'SignalOn','exercise é','0a1b2c3d','boot-1',1000026,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d"}','5e0196ab8ff62e606fa2d4fae5d66e2b678dee7ab7bcf118f07d17cb805356d3','900cf558ceb5efc7380c3684aa940fe0e49893f7dd322ef6627dfb7d2d965768');
INSERT INTO "entries" VALUES(28,'SplitMade','exercise é',NULL,'boot-1',1000027,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","exercise":"exercise é","name":"name é","split":"split é"}','900cf558ceb5efc7380c3684aa940fe0e49893f7dd322ef6627dfb7d2d965768','9a75f02661e5d98de588c3e04e19e32635b3391eebad9c05039fcae3b74b7f10');
INSERT INTO "entries" VALUES(29,'StrikeRecorded','exercise é','0a1b2c3d','boot-1',1000028,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"boot":7,"burial":"burial é","clock":[7],"exercise":"exercise é","features":[7],"late":true,"link":"link é","number":7,"rule":"rule é","taken_for":"taken_for é","target":"0a1b2c3d","ticks":7}','9a75f02661e5d98de588c3e04e19e32635b3391eebad9c05039fcae3b74b7f10','6108c7a2f6a902a7729ce953adcdb8cb505082bd182bb9a1f966af0835068bf3');
INSERT INTO "entries" VALUES(30,'StrikesDropped',NULL,'0a1b2c3d','boot-1',1000029,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"boot":7,"count":7,"target":"0a1b2c3d"}','6108c7a2f6a902a7729ce953adcdb8cb505082bd182bb9a1f966af0835068bf3','d95bbb55839229a19ed22ea0ddefc98a95b3b440d141e06ab6d4415b7cca24a4');
INSERT INTO "entries" VALUES(31,'SurfaceRenewed',NULL,NULL,'boot-1',1000030,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","zone":"zone é"}','d95bbb55839229a19ed22ea0ddefc98a95b3b440d141e06ab6d4415b7cca24a4','1b8032a00df0d060ab9e712d333e7d7626d2a3743a021e11b79b443610ceb177');
INSERT INTO "entries" VALUES(32,'TargetAdded',NULL,'0a1b2c3d','boot-1',1000031,'2030-01-02T10:00:00Z','{"by":"by é","hardware":"hardware é","key_version":7,"link":"link é","name":"name é","target":"0a1b2c3d"}','1b8032a00df0d060ab9e712d333e7d7626d2a3743a021e11b79b443610ceb177','f9533070c36527b00e53aa6b3cae2a484369b463b0bf6479a786fc12efcddc17');
INSERT INTO "entries" VALUES(33,'TargetBarred',NULL,'0a1b2c3d','boot-1',1000032,NULL,'{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','f9533070c36527b00e53aa6b3cae2a484369b463b0bf6479a786fc12efcddc17','d54c771e9390ecf0476b06b955235b6a5da330c70c9307937ee545daf9a0b89c');
INSERT INTO "entries" VALUES(34,'TargetCleared',NULL,'0a1b2c3d','boot-1',1000033,'2030-01-02T10:00:00Z','{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','d54c771e9390ecf0476b06b955235b6a5da330c70c9307937ee545daf9a0b89c','ee03f56368de57c425e5eefa642b94c157f5d3fbce35bc275c3019eb589678e3');
INSERT INTO "entries" VALUES(35,'TargetGreeted',NULL,'0a1b2c3d','boot-1',1000034,NULL,'{"abilities":["abilities é"],"at":{"boot":"boot-1","us":1000000},"boot":7,"contract":7,"firmware":"firmware é","hardware":"hardware é","target":"0a1b2c3d","why":"why é"}','ee03f56368de57c425e5eefa642b94c157f5d3fbce35bc275c3019eb589678e3','d7d0444492deff0024badc9c9dc9901f0c84e062b7c12af5bf0c3bdacb710f34');
INSERT INTO "entries" VALUES(36,'TargetNamed',NULL,'0a1b2c3d','boot-1',1000035,'2030-01-02T10:00:00Z','{"by":"by é","name":"name é","target":"0a1b2c3d"}','d7d0444492deff0024badc9c9dc9901f0c84e062b7c12af5bf0c3bdacb710f34','c7c8fe6cefa7456ac709c0bc69e1b75289c6ceb0dd45b6a00184c667a838dbc9');
INSERT INTO "entries" VALUES(37,'TargetOdd',NULL,'0a1b2c3d','boot-1',1000036,NULL,'{"at":{"boot":"boot-1","us":1000000},"detail":"detail é","target":"0a1b2c3d","what":"what é"}','c7c8fe6cefa7456ac709c0bc69e1b75289c6ceb0dd45b6a00184c667a838dbc9','d0bab61359548418846a8f4c334813eda71dbc13c95d997f0d5393198aa99ac0');
INSERT INTO "entries" VALUES(38,'TargetTakenOut',NULL,'0a1b2c3d','boot-1',1000037,'2030-01-02T10:00:00Z','{"by":"by é","how":"how é","last_place":"last_place é","reason":"reason é","target":"0a1b2c3d"}','d0bab61359548418846a8f4c334813eda71dbc13c95d997f0d5393198aa99ac0','a5895c2800a85993fddc048ad222357daa798dd6b112e3b752947391ad8c0a26');
CREATE TABLE people (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	PRIMARY KEY (id)
)
 WITHOUT ROWID;
INSERT INTO "people" VALUES('p-1','Mira');
CREATE TABLE settings (
	"key" TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY ("key")
)
 WITHOUT ROWID;
INSERT INTO "settings" VALUES('epoch','12');
INSERT INTO "settings" VALUES('generation','3');
CREATE TABLE strikes (
	target TEXT NOT NULL, 
	boot INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	seq INTEGER NOT NULL, 
	PRIMARY KEY (target, boot, number)
)
 WITHOUT ROWID;
INSERT INTO "strikes" VALUES('0a1b2c3d',7,7,29);
CREATE TABLE telemetry (
	target TEXT NOT NULL, 
	host_boot TEXT NOT NULL, 
	minute INTEGER NOT NULL, 
	at_us INTEGER NOT NULL, 
	wall TEXT, 
	volts_rest FLOAT, 
	volts_load FLOAT, 
	temperature_c FLOAT, 
	noise FLOAT, 
	extra TEXT NOT NULL, 
	PRIMARY KEY (target, host_boot, minute)
)
 WITHOUT ROWID;
INSERT INTO "telemetry" VALUES('0a1b2c3d','boot-1',0,1000000,NULL,3.6,NULL,NULL,NULL,'{"rssi": -60}');
CREATE INDEX entries_by_exercise ON entries (exercise, seq);
CREATE INDEX entries_by_target ON entries (target, seq);
CREATE TRIGGER entries_refuse_update BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END;
CREATE TRIGGER entries_refuse_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('entries',38);
COMMIT;
