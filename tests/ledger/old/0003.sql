BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0003');
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
INSERT INTO "entries" VALUES(1,'AccountMade',NULL,NULL,'boot-1',1000000,NULL,'{"at":{"boot":"boot-1","us":1000000},"person":"person é"}','245c8625acc2db7e2b483a9f778954156b7d47d8577e9c45071421e7a7eb4edf','4b212c1178116201f12ab1d9f95046c26862e1b67cd5b98ba4cafb50d6bd2681');
INSERT INTO "entries" VALUES(2,'AlarmCleared',NULL,'0a1b2c3d','boot-1',1000001,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","link":"link é","reason":"reason é","target":"0a1b2c3d","what":"what é"}','4b212c1178116201f12ab1d9f95046c26862e1b67cd5b98ba4cafb50d6bd2681','12b5b07bdbbeeaa5d0b69b5243b3345d975e63415f56c0fdfa3d84feacacf0bc');
INSERT INTO "entries" VALUES(3,'AlarmRaised',NULL,'0a1b2c3d','boot-1',1000002,NULL,'{"at":{"boot":"boot-1","us":1000000},"fault":true,"link":"link é","remedy":"remedy é","sentence":"sentence é","target":"0a1b2c3d","values":{"A":"0a1b2c3d"},"what":"what é"}','12b5b07bdbbeeaa5d0b69b5243b3345d975e63415f56c0fdfa3d84feacacf0bc','bc9b6cf30abdb2d56ca79177fb43784d091f56a53b0603d01e9654fbcd66140a');
INSERT INTO "entries" VALUES(4,'AllOffConfirmed',NULL,'0a1b2c3d','boot-1',1000003,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"epoch":7,"quiet":true,"target":"0a1b2c3d"}','bc9b6cf30abdb2d56ca79177fb43784d091f56a53b0603d01e9654fbcd66140a','b2adca210e75be5018c21932ce69c26a66236cda3273aad0e1cd5e1468da1624');
INSERT INTO "entries" VALUES(5,'AllOffOrdered',NULL,NULL,'boot-1',1000004,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","epoch":7,"via":"via é"}','b2adca210e75be5018c21932ce69c26a66236cda3273aad0e1cd5e1468da1624','53664cfdd9a1df04a0f2a834463709405424c36a7983be28e845d30aafb810ec');
INSERT INTO "entries" VALUES(6,'AllOffReleased',NULL,NULL,'boot-1',1000005,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","epoch":7,"reason":"reason é"}','53664cfdd9a1df04a0f2a834463709405424c36a7983be28e845d30aafb810ec','f020af9a3cb200a659755ec97c9289e89faa8a53b6b289d2416cd911cd55cce5');
INSERT INTO "entries" VALUES(7,'AssessmentDecided','exercise é',NULL,'boot-1',1000006,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidate":"candidate é","digest":"digest é","exercise":"exercise é","nth":7,"sheet":{"A":"0a1b2c3d"},"verdict":"verdict é","why":"why é"}','f020af9a3cb200a659755ec97c9289e89faa8a53b6b289d2416cd911cd55cce5','7bf25e6c7bdda18addc72c8f795d1497b8f3d49677f27155987080540d1bc4f2');
INSERT INTO "entries" VALUES(8,'AssessmentListed',NULL,NULL,'boot-1',1000007,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidates":["candidates é"],"drill":"drill é","nth":7}','7bf25e6c7bdda18addc72c8f795d1497b8f3d49677f27155987080540d1bc4f2','4b8a592e106eab35640baae141eb01c9205b31d5ba600af07f0fa042464130ba');
INSERT INTO "entries" VALUES(9,'AssessmentSigned','exercise é',NULL,'boot-1',1000008,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","candidate":"candidate é","digest":"digest é","exercise":"exercise é","role":"role é"}','4b8a592e106eab35640baae141eb01c9205b31d5ba600af07f0fa042464130ba','030980900fea9cb2b8a4e1eb3cb178e6606a1e4984bd75920809426ba0754a57');
INSERT INTO "entries" VALUES(10,'AssessmentTicked','exercise é',NULL,'boot-1',1000009,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","by_hand":true,"candidate":"candidate é","exercise":"exercise é","item":"item é","nth":7,"tick":"tick é","value":"value é","why":"why é"}','030980900fea9cb2b8a4e1eb3cb178e6606a1e4984bd75920809426ba0754a57','c713065eec7cf8782dba53033a92d585cc855706654b2e98a3cadec97dcdb890');
INSERT INTO "entries" VALUES(11,'BatterySwapped',NULL,'0a1b2c3d','boot-1',1000010,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","capacity_ah":1.5,"cells":7,"chemistry":"chemistry é","day":"day é","notes":"notes é","target":"0a1b2c3d"}','c713065eec7cf8782dba53033a92d585cc855706654b2e98a3cadec97dcdb890','1a7d7b7abdc1ce6c52dfee6badf53e902e0429618c2dcba7d79640dd94f94899');
INSERT INTO "entries" VALUES(12,'CallMade','exercise é',NULL,'boot-1',1000011,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","call":"call é","exercise":"exercise é","searcher":"searcher é"}','1a7d7b7abdc1ce6c52dfee6badf53e902e0429618c2dcba7d79640dd94f94899','c6aa5484db2d38324d98bd6de256af8a6413bea5d0901ff622173a70c54e3ecb');
INSERT INTO "entries" VALUES(13,'CodeMade',NULL,NULL,'boot-1',1000012,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","what":"what é"}','c6aa5484db2d38324d98bd6de256af8a6413bea5d0901ff622173a70c54e3ecb','597609585dbe86975fd89cdb4e44811ef9ee1a35b4aeb20b4663d548b82c7776');
INSERT INTO "entries" VALUES(14,'ControllerStarted',NULL,NULL,'boot-1',1000013,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"clean":true,"generation":7,"version":"version é"}','597609585dbe86975fd89cdb4e44811ef9ee1a35b4aeb20b4663d548b82c7776','72048801f066b84f60befa3c80d9ea6fad712470e848101d673c0efb5fd69f18');
INSERT INTO "entries" VALUES(15,'ControllerStopped',NULL,NULL,'boot-1',1000014,NULL,'{"at":{"boot":"boot-1","us":1000000},"why":"why é"}','72048801f066b84f60befa3c80d9ea6fad712470e848101d673c0efb5fd69f18','3568d866dd00e62f6ad8f4430bc9a4353117c09cc9627afe6fa811c3adf81edd');
INSERT INTO "entries" VALUES(16,'Corrected','exercise é',NULL,'boot-1',1000015,'2030-01-02T10:00:00Z','{"about":"about é","at":{"boot":"boot-1","us":1000000},"by":"by é","change":"change é","correction":"correction é","exercise":"exercise é","nth":7,"value":"value é","why":"why é"}','3568d866dd00e62f6ad8f4430bc9a4353117c09cc9627afe6fa811c3adf81edd','f2e1474d26c0af043590fdc776b28a31a108a60b60b511d0c2c47dde135e5b34');
INSERT INTO "entries" VALUES(17,'DayClosed',NULL,NULL,'boot-1',1000016,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exceptions":["exceptions é"],"heard_sending":["heard_sending é"],"listening_walk":"listening_walk é","own_units_back":true,"signed":"signed é"}','f2e1474d26c0af043590fdc776b28a31a108a60b60b511d0c2c47dde135e5b34','8268960930b8b60af41b49892decd603b435db6fc92971089ba1abccd6a0830f');
INSERT INTO "entries" VALUES(18,'DayOpened',NULL,NULL,'boot-1',1000017,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","hazard":"hazard é","heard":["heard é"],"not_heard":["not_heard é"],"notes":"notes é","snow_m":1.5,"stray_sweep":"stray_sweep é","touched":["touched é"]}','8268960930b8b60af41b49892decd603b435db6fc92971089ba1abccd6a0830f','092294df9456f98475a30dbf69119096facb890ca939e002a5c6045fa9d8793f');
INSERT INTO "entries" VALUES(19,'ExerciseEnded','exercise é',NULL,'boot-1',1000018,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","how":"how é"}','092294df9456f98475a30dbf69119096facb890ca939e002a5c6045fa9d8793f','94e27a8b480d4c78e389d8d8090ceb0d7b4bff85ff280670f1227373a5ca7445');
INSERT INTO "entries" VALUES(20,'ExerciseInterrupted','exercise é',NULL,'boot-1',1000019,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"exercise":"exercise é","last_known":{"boot":"boot-1","us":1000000},"why":"why é"}','94e27a8b480d4c78e389d8d8090ceb0d7b4bff85ff280670f1227373a5ca7445','eec587cdb40ef8944fbf81152852c14a4aee64ad06907c33cd5342a8f0a61b3e');
INSERT INTO "entries" VALUES(21,'ExerciseReopened','exercise é',NULL,'boot-1',1000020,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é"}','eec587cdb40ef8944fbf81152852c14a4aee64ad06907c33cd5342a8f0a61b3e','a91bd514655d495a25b5e139230b98de028d153411fa736acd10be26d828b215');
INSERT INTO "entries" VALUES(22,'ExerciseResumed','exercise é',NULL,'boot-1',1000021,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","gap_us":7}','a91bd514655d495a25b5e139230b98de028d153411fa736acd10be26d828b215','15010a4ba4c02d610560d34a18959c4d4ce1b37eb615b0c55987244e071fb2d4');
INSERT INTO "entries" VALUES(23,'ExerciseStarted','exercise é',NULL,'boot-1',1000022,NULL,'{"by":"by é","conditions":{"A":"0a1b2c3d"},"drill":"drill é","exercise":"exercise é","picks":{"A":"0a1b2c3d"},"plan":{"A":"0a1b2c3d"},"searchers":["searchers é"],"seed":7,"start":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900}}','15010a4ba4c02d610560d34a18959c4d4ce1b37eb615b0c55987244e071fb2d4','625cd853a001a0c9b40b3bf41c3cbacffe592c37937dcc3ac9b19cf09d837e13');
INSERT INTO "entries" VALUES(24,'GenerationRaised',NULL,NULL,'boot-1',1000023,'2030-01-02T10:00:00Z','{"by":"by é","generation":7,"reason":"reason é"}','625cd853a001a0c9b40b3bf41c3cbacffe592c37937dcc3ac9b19cf09d837e13','82f381531f3a98e0ed01df9403272d79b234d929d44da06f5e8eef9b689d1e6a');
INSERT INTO "entries" VALUES(25,'GrantEnded',NULL,'0a1b2c3d','boot-1',1000024,NULL,'{"at":{"boot":"boot-1","us":1000000},"grant":7,"target":"0a1b2c3d","why":"why é"}','82f381531f3a98e0ed01df9403272d79b234d929d44da06f5e8eef9b689d1e6a','50a851a404d0796ac681f66b1c2b511a124a33fc8d48dd851dff749be3273008');
INSERT INTO "entries" VALUES(26,'GrantGiven','exercise é','0a1b2c3d','boot-1',1000025,'2030-01-02T10:00:00Z','{"boot":7,"burial":"burial é","drop_off_s":1.5,"drop_on_s":1.5,"epoch":7,"exercise":"exercise é","from_ticks":7,"generation":7,"grant":7,"level":7,"limit_at":{"boot":"boot-1","us":1000000},"limit_ticks":7,"on_ms":7,"period_ms":7,"purpose":"purpose é","target":"0a1b2c3d","until_ticks":7}','50a851a404d0796ac681f66b1c2b511a124a33fc8d48dd851dff749be3273008','713de1e59a65917e0e0eafc61f8036bdc3bb44ffb3a0fdb360abf08dae5989f4');
INSERT INTO "entries" VALUES(27,'KeysRotated',NULL,'0a1b2c3d','boot-1',1000026,NULL,'{"by":"by é","key_version":7,"target":"0a1b2c3d"}','713de1e59a65917e0e0eafc61f8036bdc3bb44ffb3a0fdb360abf08dae5989f4','1f4ef0933af5fdb32fb3cb1eeec1f253c09701dc7c5edf333bfd68231fe4cc5a');
INSERT INTO "entries" VALUES(28,'LinkChanged',NULL,NULL,'boot-1',1000027,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"link":"link é","up":true,"why":"why é"}','1f4ef0933af5fdb32fb3cb1eeec1f253c09701dc7c5edf333bfd68231fe4cc5a','5bc10423c08bf7f8d2eaf761a8e21f3ad5abf2cea43395e6fc9d98b2fa95f326');
INSERT INTO "entries" VALUES(29,'ManualIn',NULL,NULL,'boot-1',1000028,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","seen_off":true,"unit":"unit é"}','5bc10423c08bf7f8d2eaf761a8e21f3ad5abf2cea43395e6fc9d98b2fa95f326','dfff64a2392d11afc965bb04fc6304e956493bc99ff7c8667775c72292132e09');
INSERT INTO "entries" VALUES(30,'ManualOut',NULL,NULL,'boot-1',1000029,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","place":"place é","unit":"unit é","zone":"zone é"}','dfff64a2392d11afc965bb04fc6304e956493bc99ff7c8667775c72292132e09','8810f0507ec9775ddb36407d0603e5a03cc1a193c8f591caec93c68bcbb14b0c');
INSERT INTO "entries" VALUES(31,'OrderEnded',NULL,'0a1b2c3d','boot-1',1000030,NULL,'{"at":{"boot":"boot-1","us":1000000},"late_us":7,"order":7,"outcome":"outcome é","target":"0a1b2c3d","what":"what é","why":"why é"}','8810f0507ec9775ddb36407d0603e5a03cc1a193c8f591caec93c68bcbb14b0c','5a3456583e62641076f08fc969a5e293496447791f24e05dca0c3ab33714da50');
INSERT INTO "entries" VALUES(32,'PasswordChanged',NULL,NULL,'boot-1',1000031,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","there":true}','5a3456583e62641076f08fc969a5e293496447791f24e05dca0c3ab33714da50','e4305bd630f346c1a8e92db9ded0bc414edac8302a5945dd76db2dfbc58d9569');
INSERT INTO "entries" VALUES(33,'PersonForgotten',NULL,NULL,'boot-1',1000032,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","why":"why é"}','e4305bd630f346c1a8e92db9ded0bc414edac8302a5945dd76db2dfbc58d9569','1373d8cba19b05cc22fec7e665832ee633a361997fe368b9c4d852280494c74f');
INSERT INTO "entries" VALUES(34,'PhoneEnded',NULL,NULL,'boot-1',1000033,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","phone":"phone é","why":"why é"}','1373d8cba19b05cc22fec7e665832ee633a361997fe368b9c4d852280494c74f','72fb9a2f9e06f39ed988747f01fb35aa1a7af21332529a10aaaf92703ceaee2c');
INSERT INTO "entries" VALUES(35,'PhonePaired',NULL,NULL,'boot-1',1000034,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","person":"person é","phone":"phone é"}','72fb9a2f9e06f39ed988747f01fb35aa1a7af21332529a10aaaf92703ceaee2c','717356ab391f8fff357278fa739ff296dc1d697a474200feae202368a514d35c');
INSERT INTO "entries" VALUES(36,'PostPressed',NULL,NULL,'boot-1',1000035,'2030-01-02T10:00:00Z','{"age_s":1.5,"at":{"boot":"boot-1","us":1000000},"boot":7,"did":"did é","holds":7,"post":"post é","presses":7,"why":"why é"}','717356ab391f8fff357278fa739ff296dc1d697a474200feae202368a514d35c','39b9ae56210a1047045227907ffff472384fcf646c46549bc10aa20e7c784a8a');
INSERT INTO "entries" VALUES(37,'QuestionAnswered','exercise é',NULL,'boot-1',1000036,NULL,'{"answer":"answer é","at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","question":"question é"}','39b9ae56210a1047045227907ffff472384fcf646c46549bc10aa20e7c784a8a','58f21228f1f8675a1351aa6d06be22c1185e02d4aabecc4ecbafd8804cba2564');
INSERT INTO "entries" VALUES(38,'QuestionAsked','exercise é',NULL,'boot-1',1000037,'2030-01-02T10:00:00Z','{"about":"about é","at":{"boot":"boot-1","us":1000000},"choices":["choices é"],"exercise":"exercise é","question":"question é","what":"what é"}','58f21228f1f8675a1351aa6d06be22c1185e02d4aabecc4ecbafd8804cba2564','0c52a9b411b6ffaefe5ff0fe95e3bb0bfd7ee555fe420579819fccd5bd6170a6');
INSERT INTO "entries" VALUES(39,'RightEnded',NULL,NULL,'boot-1',1000038,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","right":"right é","why":"why é"}','0c52a9b411b6ffaefe5ff0fe95e3bb0bfd7ee555fe420579819fccd5bd6170a6','41ad6b053fda8c4263db3330aa0c250b3a88c649238f6082d633abe9a39ca734');
INSERT INTO "entries" VALUES(40,'RightGranted',NULL,NULL,'boot-1',1000039,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","ends_at":{"boot":"boot-1","us":1000000},"person":"person é","right":"right é","until":"until é"}','41ad6b053fda8c4263db3330aa0c250b3a88c649238f6082d633abe9a39ca734','e71743e8c2f4ba71bf17b3ac5dcf12af978f17eacec617de813a3ca856498d46');
INSERT INTO "entries" VALUES(41,'SignInFailed',NULL,NULL,'boot-1',1000040,NULL,'{"addresses":7,"at":{"boot":"boot-1","us":1000000},"codes":7,"passwords":7,"put_off":7,"since":{"boot":"boot-1","us":1000000}}','e71743e8c2f4ba71bf17b3ac5dcf12af978f17eacec617de813a3ca856498d46','263d393470957321f3346d99d5fedffca7a038f48cb38825e2ad8c1b9eadbcef');
INSERT INTO "entries" VALUES(42,'SignalDue','exercise é',NULL,'boot-1',1000041,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"because":"because é","burial":"burial é","exercise":"exercise é"}','263d393470957321f3346d99d5fedffca7a038f48cb38825e2ad8c1b9eadbcef','02bb5c071320c93be0f8f128c3d304ad0d1bef95ae8c264691d0bcb10f0ed648');
INSERT INTO "entries" VALUES(43,'SignalOff','exercise é','0a1b2c3d','boot-1',1000042,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d","why":"why é"}','02bb5c071320c93be0f8f128c3d304ad0d1bef95ae8c264691d0bcb10f0ed648','012204774eaadf32b42bf52019b1487d2e7813f9e39e9e339587ab1d7c296d29');
INSERT INTO "entries" VALUES(44,'SignalOn','exercise é','0a1b2c3d','boot-1',1000043,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d"}','012204774eaadf32b42bf52019b1487d2e7813f9e39e9e339587ab1d7c296d29','cb24eafd593023e60c315881bfc705d68365a710628e74eab6034a7520369e52');
INSERT INTO "entries" VALUES(45,'SplitMade','exercise é',NULL,'boot-1',1000044,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","exercise":"exercise é","name":"name é","split":"split é"}','cb24eafd593023e60c315881bfc705d68365a710628e74eab6034a7520369e52','60946079633373e703da15cd57da27c0aa44d4289854e038af3eb395631d0486');
INSERT INTO "entries" VALUES(46,'StrikeRecorded','exercise é','0a1b2c3d','boot-1',1000045,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"boot":7,"burial":"burial é","clock":[7],"exercise":"exercise é","features":[7],"late":true,"link":"link é","number":7,"rule":"rule é","taken_for":"taken_for é","target":"0a1b2c3d","ticks":7}','60946079633373e703da15cd57da27c0aa44d4289854e038af3eb395631d0486','8823437ec4c596cb6e3f2791e8b7d409aa097601507044b54b44a3202e54a2b4');
INSERT INTO "entries" VALUES(47,'StrikesDropped',NULL,'0a1b2c3d','boot-1',1000046,NULL,'{"at":{"boot":"boot-1","us":1000000},"boot":7,"count":7,"target":"0a1b2c3d"}','8823437ec4c596cb6e3f2791e8b7d409aa097601507044b54b44a3202e54a2b4','747d8905d62dd1f096c0163806af6462ef6e15f8916eff35a1b991d276631ad9');
INSERT INTO "entries" VALUES(48,'SurfaceRenewed',NULL,NULL,'boot-1',1000047,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","zone":"zone é"}','747d8905d62dd1f096c0163806af6462ef6e15f8916eff35a1b991d276631ad9','91aefd6eb13bceec1d5042376c7c01680027ba2044bff78eac2e7e16e36a4cda');
INSERT INTO "entries" VALUES(49,'TargetAdded',NULL,'0a1b2c3d','boot-1',1000048,NULL,'{"by":"by é","hardware":"hardware é","key_version":7,"link":"link é","name":"name é","target":"0a1b2c3d"}','91aefd6eb13bceec1d5042376c7c01680027ba2044bff78eac2e7e16e36a4cda','8634dfe845cef19d3f8a6384cd6ea956823f31b6bc7682cdcd0b727c53120a69');
INSERT INTO "entries" VALUES(50,'TargetBarred',NULL,'0a1b2c3d','boot-1',1000049,'2030-01-02T10:00:00Z','{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','8634dfe845cef19d3f8a6384cd6ea956823f31b6bc7682cdcd0b727c53120a69','cae8843c8e8be57751321a3e89d4a2f880f6102eae2fa8a985ba5530ccc8992a');
INSERT INTO "entries" VALUES(51,'TargetCleared',NULL,'0a1b2c3d','boot-1',1000050,NULL,'{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','cae8843c8e8be57751321a3e89d4a2f880f6102eae2fa8a985ba5530ccc8992a','32f963a869e42a60cca27b479bf4724ad3cb213dbe1bcf988aba514335e032a8');
INSERT INTO "entries" VALUES(52,'TargetGreeted',NULL,'0a1b2c3d','boot-1',1000051,'2030-01-02T10:00:00Z','{"abilities":["abilities é"],"at":{"boot":"boot-1","us":1000000},"boot":7,"contract":7,"firmware":"firmware é","hardware":"hardware é","target":"0a1b2c3d","why":"why é"}','32f963a869e42a60cca27b479bf4724ad3cb213dbe1bcf988aba514335e032a8','95648811669f807c047979159cc0ce6a7e57346bfbbbf7a501a8c78af6dacbab');
INSERT INTO "entries" VALUES(53,'TargetNamed',NULL,'0a1b2c3d','boot-1',1000052,NULL,'{"by":"by é","name":"name é","target":"0a1b2c3d"}','95648811669f807c047979159cc0ce6a7e57346bfbbbf7a501a8c78af6dacbab','df287df680877cccf6acffdb04dd3640e1b300c459dbbe78c9cc5f785e93ff91');
INSERT INTO "entries" VALUES(54,'TargetOdd',NULL,'0a1b2c3d','boot-1',1000053,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"detail":"detail é","target":"0a1b2c3d","what":"what é"}','df287df680877cccf6acffdb04dd3640e1b300c459dbbe78c9cc5f785e93ff91','779c1f7044bb9d3f023303cfa41f783a050cff4b91fd5a79bd56539b6daaceca');
INSERT INTO "entries" VALUES(55,'TargetTakenOut',NULL,'0a1b2c3d','boot-1',1000054,NULL,'{"by":"by é","how":"how é","last_place":"last_place é","reason":"reason é","target":"0a1b2c3d"}','779c1f7044bb9d3f023303cfa41f783a050cff4b91fd5a79bd56539b6daaceca','3cb364df92b85131cbda07dd0cea3cb18859351ec8acbf14d8fa9f28eb3a25f1');
INSERT INTO "entries" VALUES(56,'TouchAsked',NULL,NULL,'boot-1',1000055,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","until":{"boot":"boot-1","us":1000000}}','3cb364df92b85131cbda07dd0cea3cb18859351ec8acbf14d8fa9f28eb3a25f1','0fe1cce6b006a9119653c9a6fe5a76537734eb837d407385f99284f2b6913748');
INSERT INTO "entries" VALUES(57,'WalkInEnded',NULL,NULL,'boot-1',1000056,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","release":"release é","why":"why é"}','0fe1cce6b006a9119653c9a6fe5a76537734eb837d407385f99284f2b6913748','adb77a9e55fcec1087809051374fec8f6c8423031cd1c6186983189ed589673b');
INSERT INTO "entries" VALUES(58,'WalkInReleased',NULL,NULL,'boot-1',1000057,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"begins_at":{"boot":"boot-1","us":1000000},"by":"by é","drill":"drill é","ends_at":{"boot":"boot-1","us":1000000},"limit_s":1.5,"pause_s":1.5,"release":"release é","title":"title é","until":"until é","zones":["zones é"]}','adb77a9e55fcec1087809051374fec8f6c8423031cd1c6186983189ed589673b','dbf6d665527fb0d294d7eaf7c6e6c7e1c577fa687b7ead7087c5856facdbba4f');
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
CREATE TABLE states (
	target TEXT NOT NULL, 
	state TEXT NOT NULL, 
	host_boot TEXT NOT NULL, 
	at_us INTEGER NOT NULL, 
	wall TEXT, 
	PRIMARY KEY (target, state)
)
 WITHOUT ROWID;
INSERT INTO "states" VALUES('0a1b2c3d','online','boot-1',1000000,'2030-01-02T10:00:00Z');
CREATE TABLE strikes (
	target TEXT NOT NULL, 
	boot INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	seq INTEGER NOT NULL, 
	PRIMARY KEY (target, boot, number)
)
 WITHOUT ROWID;
INSERT INTO "strikes" VALUES('0a1b2c3d',7,7,46);
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
INSERT INTO "sqlite_sequence" VALUES('entries',58);
COMMIT;
