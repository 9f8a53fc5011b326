BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
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
INSERT INTO "entries" VALUES(4,'AssessmentDecided','exercise é',NULL,'boot-1',1000003,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidate":"candidate é","digest":"digest é","exercise":"exercise é","nth":7,"sheet":{"A":"0a1b2c3d"},"verdict":"verdict é","why":"why é"}','241ace0be4dd73584ef8fd0af571b733936b31f18963355f711f4ac695c34804','93c5780da5db5805af0b0d0ed93e80a5aa71d413d85d00c0f4c4f32fa1ff8bd4');
INSERT INTO "entries" VALUES(5,'AssessmentListed',NULL,NULL,'boot-1',1000004,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidates":["candidates é"],"drill":"drill é","nth":7}','93c5780da5db5805af0b0d0ed93e80a5aa71d413d85d00c0f4c4f32fa1ff8bd4','9c20df5107267af55b21c4cd28801fad0de92f4840a5cd002010688b8e1afe44');
INSERT INTO "entries" VALUES(6,'AssessmentSigned','exercise é',NULL,'boot-1',1000005,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidate":"candidate é","digest":"digest é","exercise":"exercise é","role":"role é"}','9c20df5107267af55b21c4cd28801fad0de92f4840a5cd002010688b8e1afe44','6a5715c729c83097b5a1cc1c1b66c6a34a4a321d6c2543fd77e392aebfa2d710');
INSERT INTO "entries" VALUES(7,'AssessmentTicked','exercise é',NULL,'boot-1',1000006,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","by_hand":true,"candidate":"candidate é","exercise":"exercise é","item":"item é","nth":7,"tick":"tick é","value":"value é","why":"why é"}','6a5715c729c83097b5a1cc1c1b66c6a34a4a321d6c2543fd77e392aebfa2d710','9baf96464ade76b8d6ef196414261c87a91c63e1fcc90da713521217301996ea');
INSERT INTO "entries" VALUES(8,'CallMade','exercise é',NULL,'boot-1',1000007,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","call":"call é","exercise":"exercise é","searcher":"searcher é"}','9baf96464ade76b8d6ef196414261c87a91c63e1fcc90da713521217301996ea','863047c5d5e9eeadad7f59c7de5d5a0d633c73be8d1febaf6ad9202f075f3c28');
INSERT INTO "entries" VALUES(9,'ControllerStarted',NULL,NULL,'boot-1',1000008,NULL,'{"at":{"boot":"boot-1","us":1000000},"clean":true,"generation":7,"version":"version é"}','863047c5d5e9eeadad7f59c7de5d5a0d633c73be8d1febaf6ad9202f075f3c28','c3f550b17e2332aec45f00fdfd5b1a1cd69511f2748ab0ee6ff30c8ddb5e4dd0');
INSERT INTO "entries" VALUES(10,'ControllerStopped',NULL,NULL,'boot-1',1000009,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"why":"why é"}','c3f550b17e2332aec45f00fdfd5b1a1cd69511f2748ab0ee6ff30c8ddb5e4dd0','26354ecfd20db4a2b1dbe7ee6abc7ba5ece6441baeedd834f7e02d8c275f8464');
INSERT INTO "entries" VALUES(11,'Corrected','exercise é',NULL,'boot-1',1000010,NULL,'{"about":"about é","at":{"boot":"boot-1","us":1000000},"by":"by é","change":"change é","correction":"correction é","exercise":"exercise é","nth":7,"value":"value é","why":"why é"}','26354ecfd20db4a2b1dbe7ee6abc7ba5ece6441baeedd834f7e02d8c275f8464','daf36dc9939724792651f751ced32926309270ffbe89c2162487fbfd04f982f0');
INSERT INTO "entries" VALUES(12,'DayClosed',NULL,NULL,'boot-1',1000011,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exceptions":["exceptions é"],"heard_sending":["heard_sending é"],"listening_walk":"listening_walk é","own_units_back":true,"signed":"signed é"}','daf36dc9939724792651f751ced32926309270ffbe89c2162487fbfd04f982f0','1062d408e297d47ff0a0e68649a62cfe0317ca7c541dc30bc168d9f4b30946de');
INSERT INTO "entries" VALUES(13,'DayOpened',NULL,NULL,'boot-1',1000012,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","hazard":"hazard é","heard":["heard é"],"not_heard":["not_heard é"],"notes":"notes é","snow_m":1.5,"stray_sweep":"stray_sweep é","touched":["touched é"]}','1062d408e297d47ff0a0e68649a62cfe0317ca7c541dc30bc168d9f4b30946de','f2a9f5f3b3fc5eb4c5761f7c6c013f88437768a14b3807b4daedc9ad9bd7e708');
INSERT INTO "entries" VALUES(14,'ExerciseEnded','exercise é',NULL,'boot-1',1000013,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","how":"how é"}','f2a9f5f3b3fc5eb4c5761f7c6c013f88437768a14b3807b4daedc9ad9bd7e708','3ee52f0e76db4100a6cdb6f3c647356ceca4c8e09d2c034cda486b984bf1707b');
INSERT INTO "entries" VALUES(15,'ExerciseInterrupted','exercise é',NULL,'boot-1',1000014,NULL,'{"at":{"boot":"boot-1","us":1000000},"exercise":"exercise é","last_known":{"boot":"boot-1","us":1000000},"why":"why é"}','3ee52f0e76db4100a6cdb6f3c647356ceca4c8e09d2c034cda486b984bf1707b','417fa0eb01373dfb38f2d886283b684ce7d1e70a1e43372b6cb5c23d5dd87348');
INSERT INTO "entries" VALUES(16,'ExerciseReopened','exercise é',NULL,'boot-1',1000015,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é"}','417fa0eb01373dfb38f2d886283b684ce7d1e70a1e43372b6cb5c23d5dd87348','d43c954265bc81e9fb7f0af3209b3cc5110bd11263fde238698d3a96c5a45c76');
INSERT INTO "entries" VALUES(17,'ExerciseResumed','exercise é',NULL,'boot-1',1000016,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","gap_us":7}','d43c954265bc81e9fb7f0af3209b3cc5110bd11263fde238698d3a96c5a45c76','3f6019383656eb31fdfe63ac9d96dcc6cce9b037737fa8e75af7754c13dbf86a');
INSERT INTO "entries" VALUES(18,'ExerciseStarted','exercise é',NULL,'boot-1',1000017,'2030-01-02T10:00:00Z','{"by":"by é","conditions":{"A":"0a1b2c3d"},"drill":"drill é","exercise":"exercise é","picks":{"A":"0a1b2c3d"},"plan":{"A":"0a1b2c3d"},"searchers":["searchers é"],"seed":7,"start":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900}}','3f6019383656eb31fdfe63ac9d96dcc6cce9b037737fa8e75af7754c13dbf86a','1bb4abbfe270c4566179160ce96c9a94f6bbe07dd86b6adbfdd4276706582d2a');
INSERT INTO "entries" VALUES(19,'GenerationRaised',NULL,NULL,'boot-1',1000018,NULL,'{"by":"by é","generation":7,"reason":"reason é"}','1bb4abbfe270c4566179160ce96c9a94f6bbe07dd86b6adbfdd4276706582d2a','34e9201dd0ef08382a7b87055be8abf9b529d75cc0f337fec8cd88e9d267c559');
INSERT INTO "entries" VALUES(20,'GrantEnded',NULL,'0a1b2c3d','boot-1',1000019,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"grant":7,"target":"0a1b2c3d","why":"why é"}','34e9201dd0ef08382a7b87055be8abf9b529d75cc0f337fec8cd88e9d267c559','6b21a3d5260ed0a435a089e1a6bd76469f373e34c2d0a2d8b325d7e18d36c8a6');
INSERT INTO "entries" VALUES(21,'GrantGiven','exercise é','0a1b2c3d','boot-1',1000020,NULL,'{"boot":7,"burial":"burial é","drop_off_s":1.5,"drop_on_s":1.5,"epoch":7,"exercise":"exercise é","from_ticks":7,"generation":7,"grant":7,"level":7,"limit_at":{"boot":"boot-1","us":1000000},"limit_ticks":7,"on_ms":7,"period_ms":7,"purpose":"purpose é","target":"0a1b2c3d","until_ticks":7}','6b21a3d5260ed0a435a089e1a6bd76469f373e34c2d0a2d8b325d7e18d36c8a6','eab8829361d8545f4b1d9204f0d606b7646ad61feae025e5e7d5d35b93b5b96c');
INSERT INTO "entries" VALUES(22,'KeysRotated',NULL,'0a1b2c3d','boot-1',1000021,'2030-01-02T10:00:00Z','{"by":"by é","key_version":7,"target":"0a1b2c3d"}','eab8829361d8545f4b1d9204f0d606b7646ad61feae025e5e7d5d35b93b5b96c','aeb1978838e6de154297de0cf097b26e942581ba4c48737ace1d461166ad53d5');
INSERT INTO "entries" VALUES(23,'LinkChanged',NULL,NULL,'boot-1',1000022,NULL,'{"at":{"boot":"boot-1","us":1000000},"link":"link é","up":true,"why":"why é"}','aeb1978838e6de154297de0cf097b26e942581ba4c48737ace1d461166ad53d5','1ac48c8ffb2d1d76dc74d208a41d80fdc308e4cb6ce3db9fefc6279673f0d135');
INSERT INTO "entries" VALUES(24,'ManualIn',NULL,NULL,'boot-1',1000023,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","seen_off":true,"unit":"unit é"}','1ac48c8ffb2d1d76dc74d208a41d80fdc308e4cb6ce3db9fefc6279673f0d135','96bba1dca57f46375ca5b92f1ad2918a0e90ea7d0f38b93ef5189eff4531b940');
INSERT INTO "entries" VALUES(25,'ManualOut',NULL,NULL,'boot-1',1000024,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","place":"place é","unit":"unit é","zone":"zone é"}','96bba1dca57f46375ca5b92f1ad2918a0e90ea7d0f38b93ef5189eff4531b940','f12db7783036f3e72af9b2fdd18f1875bcf4ea71f184562eed95033dcda1b1ff');
INSERT INTO "entries" VALUES(26,'OrderEnded',NULL,'0a1b2c3d','boot-1',1000025,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"late_us":7,"order":7,"outcome":"outcome é","target":"0a1b2c3d","what":"what é","why":"why é"}','f12db7783036f3e72af9b2fdd18f1875bcf4ea71f184562eed95033dcda1b1ff','ec1ab3d72b94c9928058494e3891106e2ca944e4ac98377d0edaf328d3706e7f');
INSERT INTO "entries" VALUES(27,'PersonForgotten',NULL,NULL,'boot-1',1000026,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","why":"why é"}','ec1ab3d72b94c9928058494e3891106e2ca944e4ac98377d0edaf328d3706e7f','4e03107609c1a93e2fd80f882328f07a5df84a2ed73d611d5cb51078caf30e3a');
INSERT INTO "entries" VALUES(28,'QuestionAnswered','exercise é',NULL,'boot-1',1000027,'2030-01-02T10:00:00Z','{"answer":"answer é","at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","question":"question é"}','4e03107609c1a93e2fd80f882328f07a5df84a2ed73d611d5cb51078caf30e3a','4716c19b5238671f05986a0b4c50e0caa1c5d0e6d09578671c7fe1d2cd590ff5');
INSERT INTO "entries" VALUES(29,'QuestionAsked','exercise é',NULL,'boot-1',1000028,NULL,'{"about":"about é","at":{"boot":"boot-1","us":1000000},"choices":["choices é"],"exercise":"exercise é","question":"question é","what":"what é"}','4716c19b5238671f05986a0b4c50e0caa1c5d0e6d09578671c7fe1d2cd590ff5','edb56eba7d9984580aef3d9b8b01f219ccce9ae4cbff7463b48109469eb97dab');
INSERT INTO "entries" VALUES(30,'SignalDue','exercise é',NULL,'boot-1',1000029,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"because":"because é","burial":"burial é","exercise":"exercise é"}','edb56eba7d9984580aef3d9b8b01f219ccce9ae4cbff7463b48109469eb97dab','ef443aa01942963985e22de3bde5de03e81ca6f5a0d406a3b3d612ff240a07b9');
INSERT INTO "entries" VALUES(31,'SignalOff','exercise é','0a1b2c3d','boot-1',1000030,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d","why":"why é"}','ef443aa01942963985e22de3bde5de03e81ca6f5a0d406a3b3d612ff240a07b9','54dcccafab90af40dd97561fc8f1a9125c0e364b56a545fb4f185a6643dafb13');
INSERT INTO "entries" VALUES(32,'SignalOn','exercise é','0a1b2c3d','boot-1',1000031,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d"}','54dcccafab90af40dd97561fc8f1a9125c0e364b56a545fb4f185a6643dafb13','74079b1968b8148d00dd5f8c48977f91bbc542ebad3b60ed868ec716401712f0');
INSERT INTO "entries" VALUES(33,'SplitMade','exercise é',NULL,'boot-1',1000032,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","exercise":"exercise é","name":"name é","split":"split é"}','74079b1968b8148d00dd5f8c48977f91bbc542ebad3b60ed868ec716401712f0','11290f1a22a4a2cc42d0e59798ec3cf9b93fa3fbeff280244df424763672ba1a');
INSERT INTO "entries" VALUES(34,'StrikeRecorded','exercise é','0a1b2c3d','boot-1',1000033,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"boot":7,"burial":"burial é","clock":[7],"exercise":"exercise é","features":[7],"late":true,"link":"link é","number":7,"rule":"rule é","taken_for":"taken_for é","target":"0a1b2c3d","ticks":7}','11290f1a22a4a2cc42d0e59798ec3cf9b93fa3fbeff280244df424763672ba1a','442005d470325ed89895f658c5d3bc5cd43df124b64abc9d98975e3f5024fa82');
INSERT INTO "entries" VALUES(35,'StrikesDropped',NULL,'0a1b2c3d','boot-1',1000034,NULL,'{"at":{"boot":"boot-1","us":1000000},"boot":7,"count":7,"target":"0a1b2c3d"}','442005d470325ed89895f658c5d3bc5cd43df124b64abc9d98975e3f5024fa82','7cd3f101849d9ed2fcddf157e28e96431629b8ec4f8deaa42902ca4425993d4a');
INSERT INTO "entries" VALUES(36,'SurfaceRenewed',NULL,NULL,'boot-1',1000035,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","zone":"zone é"}','7cd3f101849d9ed2fcddf157e28e96431629b8ec4f8deaa42902ca4425993d4a','cfe8638b2e1a62a30ef2215991028ab4afb4a012afd0c1fbee163be0773d9e81');
INSERT INTO "entries" VALUES(37,'TargetAdded',NULL,'0a1b2c3d','boot-1',1000036,NULL,'{"by":"by é","hardware":"hardware é","key_version":7,"link":"link é","name":"name é","target":"0a1b2c3d"}','cfe8638b2e1a62a30ef2215991028ab4afb4a012afd0c1fbee163be0773d9e81','9ff8e14392725ecfa1e62d24908bfd678e18f507895707b82cfb6d5bd0abe869');
INSERT INTO "entries" VALUES(38,'TargetBarred',NULL,'0a1b2c3d','boot-1',1000037,'2030-01-02T10:00:00Z','{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','9ff8e14392725ecfa1e62d24908bfd678e18f507895707b82cfb6d5bd0abe869','e78cc949200116812112c3fe43c7106a1c8abf974135b95014ea8ad18d99707c');
INSERT INTO "entries" VALUES(39,'TargetCleared',NULL,'0a1b2c3d','boot-1',1000038,NULL,'{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','e78cc949200116812112c3fe43c7106a1c8abf974135b95014ea8ad18d99707c','9b637bedda91bdc481e0e3942c98b03d7d4373e4bc82f62d8bfa7dad632fc276');
INSERT INTO "entries" VALUES(40,'TargetGreeted',NULL,'0a1b2c3d','boot-1',1000039,'2030-01-02T10:00:00Z','{"abilities":["abilities é"],"at":{"boot":"boot-1","us":1000000},"boot":7,"contract":7,"firmware":"firmware é","hardware":"hardware é","target":"0a1b2c3d","why":"why é"}','9b637bedda91bdc481e0e3942c98b03d7d4373e4bc82f62d8bfa7dad632fc276','4cfd92c4ebacfed57cb56fcc6ea88af03098e4fa8b06b99d8ec2c6225c1dcd32');
INSERT INTO "entries" VALUES(41,'TargetNamed',NULL,'0a1b2c3d','boot-1',1000040,NULL,'{"by":"by é","name":"name é","target":"0a1b2c3d"}','4cfd92c4ebacfed57cb56fcc6ea88af03098e4fa8b06b99d8ec2c6225c1dcd32','eef1b25509ce4822c5592cbe6883e48552c53495bb8f59d51e97115106f5d2ee');
INSERT INTO "entries" VALUES(42,'TargetOdd',NULL,'0a1b2c3d','boot-1',1000041,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"detail":"detail é","target":"0a1b2c3d","what":"what é"}','eef1b25509ce4822c5592cbe6883e48552c53495bb8f59d51e97115106f5d2ee','0b98b2812baab8bb2569f345bf9909242742e60df9e3f06c705a8186a03ef47e');
INSERT INTO "entries" VALUES(43,'TargetTakenOut',NULL,'0a1b2c3d','boot-1',1000042,NULL,'{"by":"by é","how":"how é","last_place":"last_place é","reason":"reason é","target":"0a1b2c3d"}','0b98b2812baab8bb2569f345bf9909242742e60df9e3f06c705a8186a03ef47e','5036ea4be8a8c9eaf0d8b8375d527966df2189fda96cb4f92a0e5b2ad757a940');
CREATE TABLE forgotten (
	id TEXT NOT NULL, 
	day TEXT, 
	PRIMARY KEY (id)
)
 WITHOUT ROWID;
INSERT INTO "forgotten" VALUES('p-0','2030-01-01');
CREATE TABLE people (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	PRIMARY KEY (id)
)
 WITHOUT ROWID;
INSERT INTO "people" VALUES('p-1','Mira');
CREATE TABLE people_seen (
	id TEXT NOT NULL, 
	day TEXT NOT NULL, 
	PRIMARY KEY (id)
)
 WITHOUT ROWID;
INSERT INTO "people_seen" VALUES('p-1','2030-01-02');
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
INSERT INTO "strikes" VALUES('0a1b2c3d',7,7,34);
CREATE TABLE summaries (
	exercise TEXT NOT NULL, 
	version TEXT NOT NULL, 
	covers INTEGER NOT NULL, 
	body TEXT NOT NULL, 
	PRIMARY KEY (exercise, version)
);
INSERT INTO "summaries" VALUES('x1','0.1.0',7,'{}');
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
INSERT INTO "sqlite_sequence" VALUES('entries',43);
COMMIT;
