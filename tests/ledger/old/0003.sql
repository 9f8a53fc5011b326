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
INSERT INTO "entries" VALUES(11,'BackupRestored',NULL,NULL,'boot-1',1000010,NULL,'{"at":{"boot":"boot-1","us":1000000},"made":"made é"}','c713065eec7cf8782dba53033a92d585cc855706654b2e98a3cadec97dcdb890','0bbdbbe4a20080676cb9683132ac900db5ad0a4cdf672d9b5e9e9184739e9bca');
INSERT INTO "entries" VALUES(12,'BatterySwapped',NULL,'0a1b2c3d','boot-1',1000011,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","capacity_ah":1.5,"cells":7,"chemistry":"chemistry é","day":"day é","notes":"notes é","target":"0a1b2c3d"}','0bbdbbe4a20080676cb9683132ac900db5ad0a4cdf672d9b5e9e9184739e9bca','822a19e5c718bea0344f316c237361335b3ff4404c351daa2c64db116647d823');
INSERT INTO "entries" VALUES(13,'CallMade','exercise é',NULL,'boot-1',1000012,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","call":"call é","exercise":"exercise é","searcher":"searcher é"}','822a19e5c718bea0344f316c237361335b3ff4404c351daa2c64db116647d823','841ae0969fbed7e82b91bf9c1797dd9b635a9497a861b74a0ebd21e4373cd918');
INSERT INTO "entries" VALUES(14,'CodeMade',NULL,NULL,'boot-1',1000013,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","what":"what é"}','841ae0969fbed7e82b91bf9c1797dd9b635a9497a861b74a0ebd21e4373cd918','4415dd13141b3517070ae83d738b0ac2427432870fa79ffc4998cebe7e4b1d46');
INSERT INTO "entries" VALUES(15,'ControllerStarted',NULL,NULL,'boot-1',1000014,NULL,'{"at":{"boot":"boot-1","us":1000000},"clean":true,"generation":7,"version":"version é"}','4415dd13141b3517070ae83d738b0ac2427432870fa79ffc4998cebe7e4b1d46','30479d2662538ca55f21d1d2b16bf71aeb7a810b9973c7a826db37a094ae1ad9');
INSERT INTO "entries" VALUES(16,'ControllerStopped',NULL,NULL,'boot-1',1000015,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"why":"why é"}','30479d2662538ca55f21d1d2b16bf71aeb7a810b9973c7a826db37a094ae1ad9','f31d88b7064c5ee811299e7d4f407246c08c9914095a23f654e71c86610a4165');
INSERT INTO "entries" VALUES(17,'Corrected','exercise é',NULL,'boot-1',1000016,NULL,'{"about":"about é","at":{"boot":"boot-1","us":1000000},"by":"by é","change":"change é","correction":"correction é","exercise":"exercise é","nth":7,"value":"value é","why":"why é"}','f31d88b7064c5ee811299e7d4f407246c08c9914095a23f654e71c86610a4165','6868f3baebe74896ceb6c0943cf907bf9d6d0d2d4ab194fab09f73519bb530cb');
INSERT INTO "entries" VALUES(18,'DayClosed',NULL,NULL,'boot-1',1000017,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exceptions":["exceptions é"],"heard_sending":["heard_sending é"],"listening_walk":"listening_walk é","own_units_back":true,"signed":"signed é"}','6868f3baebe74896ceb6c0943cf907bf9d6d0d2d4ab194fab09f73519bb530cb','30addafff0d90fcd0164ee0cfe545ac47de56593c61cc492e68f56e8c1350a98');
INSERT INTO "entries" VALUES(19,'DayOpened',NULL,NULL,'boot-1',1000018,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","hazard":"hazard é","heard":["heard é"],"not_heard":["not_heard é"],"notes":"notes é","snow_m":1.5,"stray_sweep":"stray_sweep é","touched":["touched é"]}','30addafff0d90fcd0164ee0cfe545ac47de56593c61cc492e68f56e8c1350a98','98a30ecff9f47835a80131da72f89fe49f2abe6389426231ec2198e4b45b6120');
INSERT INTO "entries" VALUES(20,'ExerciseEnded','exercise é',NULL,'boot-1',1000019,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","how":"how é"}','98a30ecff9f47835a80131da72f89fe49f2abe6389426231ec2198e4b45b6120','13224f172c61c44e8b8edcd65fc1b2f55e0f62a5e4773283e1eba26d3e718b68');
INSERT INTO "entries" VALUES(21,'ExerciseInterrupted','exercise é',NULL,'boot-1',1000020,NULL,'{"at":{"boot":"boot-1","us":1000000},"exercise":"exercise é","last_known":{"boot":"boot-1","us":1000000},"why":"why é"}','13224f172c61c44e8b8edcd65fc1b2f55e0f62a5e4773283e1eba26d3e718b68','f9eb7c9cca700acd21eba0c044ff2452930d5315e950f4d9f4f7bc73c91fbe6d');
INSERT INTO "entries" VALUES(22,'ExerciseReopened','exercise é',NULL,'boot-1',1000021,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é"}','f9eb7c9cca700acd21eba0c044ff2452930d5315e950f4d9f4f7bc73c91fbe6d','dd08c07d8c5edf961f58bc0c9df17e539d326b92cd3529b6162cf2b6cc9be91d');
INSERT INTO "entries" VALUES(23,'ExerciseResumed','exercise é',NULL,'boot-1',1000022,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","gap_us":7}','dd08c07d8c5edf961f58bc0c9df17e539d326b92cd3529b6162cf2b6cc9be91d','a313e947773b8ea281591047dce50f97be2c3bc100ecda1f35769a146a66c448');
INSERT INTO "entries" VALUES(24,'ExerciseStarted','exercise é',NULL,'boot-1',1000023,'2030-01-02T10:00:00Z','{"by":"by é","conditions":{"A":"0a1b2c3d"},"drill":"drill é","exercise":"exercise é","picks":{"A":"0a1b2c3d"},"plan":{"A":"0a1b2c3d"},"searchers":["searchers é"],"seed":7,"start":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900}}','a313e947773b8ea281591047dce50f97be2c3bc100ecda1f35769a146a66c448','229ee009957fff7744e3510739697e2135c53ce1f595f8095ccdaf143fd4cd5a');
INSERT INTO "entries" VALUES(25,'GenerationRaised',NULL,NULL,'boot-1',1000024,NULL,'{"by":"by é","generation":7,"reason":"reason é"}','229ee009957fff7744e3510739697e2135c53ce1f595f8095ccdaf143fd4cd5a','68814c3bb439b167dbc09e18c4c85e3926d2e4db0c0bfc5b2959def513c77c57');
INSERT INTO "entries" VALUES(26,'GrantEnded',NULL,'0a1b2c3d','boot-1',1000025,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"grant":7,"target":"0a1b2c3d","why":"why é"}','68814c3bb439b167dbc09e18c4c85e3926d2e4db0c0bfc5b2959def513c77c57','b58701ba19c919812b3776dc8805919d146df198612a10ab664505c6dca96122');
INSERT INTO "entries" VALUES(27,'GrantGiven','exercise é','0a1b2c3d','boot-1',1000026,NULL,'{"boot":7,"burial":"burial é","drop_off_s":1.5,"drop_on_s":1.5,"epoch":7,"exercise":"exercise é","from_ticks":7,"generation":7,"grant":7,"level":7,"limit_at":{"boot":"boot-1","us":1000000},"limit_ticks":7,"on_ms":7,"period_ms":7,"purpose":"purpose é","target":"0a1b2c3d","until_ticks":7}','b58701ba19c919812b3776dc8805919d146df198612a10ab664505c6dca96122','dcca276c8fe10e915c426af52e871dd79380505b71a62f558a4a1e8bbbc6a8fe');
INSERT INTO "entries" VALUES(28,'KeysRotated',NULL,'0a1b2c3d','boot-1',1000027,'2030-01-02T10:00:00Z','{"by":"by é","key_version":7,"target":"0a1b2c3d"}','dcca276c8fe10e915c426af52e871dd79380505b71a62f558a4a1e8bbbc6a8fe','a78cf020b63d4b873cb88d351dc937bbccae5228a16acb145258899c1c97aeac');
INSERT INTO "entries" VALUES(29,'KitRead',NULL,NULL,'boot-1',1000028,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","celsius":1.5,"day":"day é","found":"found é","item":"item é","lent_to":"lent_to é","notes":"notes é","percent":1.5,"volts":1.5}','a78cf020b63d4b873cb88d351dc937bbccae5228a16acb145258899c1c97aeac','053512d5aa90e9e9a908b56bb6573cdc360b3000834eec87e1be46ab39d276c9');
INSERT INTO "entries" VALUES(30,'LinkChanged',NULL,NULL,'boot-1',1000029,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"link":"link é","up":true,"why":"why é"}','053512d5aa90e9e9a908b56bb6573cdc360b3000834eec87e1be46ab39d276c9','38122ec6e0b8a35257e31d49250752725d32eac432875e76f868a15cccce2a43');
INSERT INTO "entries" VALUES(31,'ManualIn',NULL,NULL,'boot-1',1000030,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","seen_off":true,"unit":"unit é"}','38122ec6e0b8a35257e31d49250752725d32eac432875e76f868a15cccce2a43','6ee952bd13bda4dc21e1a2f147a1ca8862d5b0369c206d6eecf49c44aeab2af7');
INSERT INTO "entries" VALUES(32,'ManualOut',NULL,NULL,'boot-1',1000031,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","place":"place é","unit":"unit é","zone":"zone é"}','6ee952bd13bda4dc21e1a2f147a1ca8862d5b0369c206d6eecf49c44aeab2af7','388cb2e6db66873fef5b5df9b2d8ebfed8df36cb366f5bbc540fecd2a4c79f92');
INSERT INTO "entries" VALUES(33,'OrderEnded',NULL,'0a1b2c3d','boot-1',1000032,NULL,'{"at":{"boot":"boot-1","us":1000000},"late_us":7,"order":7,"outcome":"outcome é","target":"0a1b2c3d","what":"what é","why":"why é"}','388cb2e6db66873fef5b5df9b2d8ebfed8df36cb366f5bbc540fecd2a4c79f92','286bf877f3d32845a40e1391d0aabf7449ddb3f58a9a735d82374ad4b3bc67ba');
INSERT INTO "entries" VALUES(34,'PasswordChanged',NULL,NULL,'boot-1',1000033,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","there":true}','286bf877f3d32845a40e1391d0aabf7449ddb3f58a9a735d82374ad4b3bc67ba','b63078edc723b2ba0f5b4e60c5398ed30f87ae1a378b874c2014d253f6f1a34a');
INSERT INTO "entries" VALUES(35,'PersonForgotten',NULL,NULL,'boot-1',1000034,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","why":"why é"}','b63078edc723b2ba0f5b4e60c5398ed30f87ae1a378b874c2014d253f6f1a34a','674d7451085f4c8f62f24b54b680e9fd440ed7bd20f21cfcbcd65c20569ae342');
INSERT INTO "entries" VALUES(36,'PhoneEnded',NULL,NULL,'boot-1',1000035,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","phone":"phone é","why":"why é"}','674d7451085f4c8f62f24b54b680e9fd440ed7bd20f21cfcbcd65c20569ae342','22b5586f2ba7bca079aa3d50419e4ea8e442528ca80923e17426c6dbd6fcbd6c');
INSERT INTO "entries" VALUES(37,'PhonePaired',NULL,NULL,'boot-1',1000036,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","person":"person é","phone":"phone é"}','22b5586f2ba7bca079aa3d50419e4ea8e442528ca80923e17426c6dbd6fcbd6c','7c655a96bd50a25a589507a878af56c864da6ff38ad69b5ae09da2ccad75a781');
INSERT INTO "entries" VALUES(38,'PostPressed',NULL,NULL,'boot-1',1000037,'2030-01-02T10:00:00Z','{"age_s":1.5,"at":{"boot":"boot-1","us":1000000},"boot":7,"did":"did é","holds":7,"post":"post é","presses":7,"why":"why é"}','7c655a96bd50a25a589507a878af56c864da6ff38ad69b5ae09da2ccad75a781','15fc3933e1f468ff60b987dbad6502caaa17b6273d5033ff02863a3db7b11270');
INSERT INTO "entries" VALUES(39,'QuestionAnswered','exercise é',NULL,'boot-1',1000038,NULL,'{"answer":"answer é","at":{"boot":"boot-1","us":1000000},"by":"by é","exercise":"exercise é","question":"question é"}','15fc3933e1f468ff60b987dbad6502caaa17b6273d5033ff02863a3db7b11270','568cdeb43942a0bf718fd80914b12d95f27aa4a914cf93484ac5607df1d097b2');
INSERT INTO "entries" VALUES(40,'QuestionAsked','exercise é',NULL,'boot-1',1000039,'2030-01-02T10:00:00Z','{"about":"about é","at":{"boot":"boot-1","us":1000000},"choices":["choices é"],"exercise":"exercise é","question":"question é","what":"what é"}','568cdeb43942a0bf718fd80914b12d95f27aa4a914cf93484ac5607df1d097b2','703d8010eb6d38bbd73bf2bd7ac24372fb48ac9f310c726eac8d765efd752404');
INSERT INTO "entries" VALUES(41,'RetrievalBegun',NULL,NULL,'boot-1',1000040,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","request":"request é","retrieval":"retrieval é","targets":["targets é"]}','703d8010eb6d38bbd73bf2bd7ac24372fb48ac9f310c726eac8d765efd752404','ead1f2b5a66abd57f923009b59148b106a2a6d16f893260ad193b5110ac1a4e9');
INSERT INTO "entries" VALUES(42,'RetrievalClosed',NULL,NULL,'boot-1',1000041,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","given_up":["given_up é"],"retrieval":"retrieval é","retrieved":["retrieved é"],"signed":"signed é"}','ead1f2b5a66abd57f923009b59148b106a2a6d16f893260ad193b5110ac1a4e9','860563bec073d432fa039450c942ee576dc6ae8a5231516e19ec5794cb27c7f8');
INSERT INTO "entries" VALUES(43,'RetrievalUnticked',NULL,'0a1b2c3d','boot-1',1000042,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","retrieval":"retrieval é","target":"0a1b2c3d","tick":"tick é"}','860563bec073d432fa039450c942ee576dc6ae8a5231516e19ec5794cb27c7f8','43a2d5496e0075a17f50abcfaea8cab19b757bc9b84a830bd25b3c1ef280ec68');
INSERT INTO "entries" VALUES(44,'RightEnded',NULL,NULL,'boot-1',1000043,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","person":"person é","right":"right é","why":"why é"}','43a2d5496e0075a17f50abcfaea8cab19b757bc9b84a830bd25b3c1ef280ec68','5ad4ca8b1960072ce020e87f0a8bd8bcee2bf4cf2e7c7392026deb773452c422');
INSERT INTO "entries" VALUES(45,'RightGranted',NULL,NULL,'boot-1',1000044,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","ends_at":{"boot":"boot-1","us":1000000},"person":"person é","right":"right é","until":"until é"}','5ad4ca8b1960072ce020e87f0a8bd8bcee2bf4cf2e7c7392026deb773452c422','24936be1c02c9e831038f6ac723e979a5817d211f191577339486bcdc6e25955');
INSERT INTO "entries" VALUES(46,'SelfTested',NULL,'0a1b2c3d','boot-1',1000045,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","checks":{"A":"0a1b2c3d"},"day":"day é","round":7,"target":"0a1b2c3d"}','24936be1c02c9e831038f6ac723e979a5817d211f191577339486bcdc6e25955','943aff58b4bdb2d3a6c695a427e809ca2cd556e1394823d345b221e2b4bf105e');
INSERT INTO "entries" VALUES(47,'SendingHeard',NULL,'0a1b2c3d','boot-1',1000046,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","grant":7,"round":7,"target":"0a1b2c3d"}','943aff58b4bdb2d3a6c695a427e809ca2cd556e1394823d345b221e2b4bf105e','f7640a277acae978f6c4f226dad48923064c297b55ff19b939472c092f990534');
INSERT INTO "entries" VALUES(48,'SignInFailed',NULL,NULL,'boot-1',1000047,'2030-01-02T10:00:00Z','{"addresses":7,"at":{"boot":"boot-1","us":1000000},"codes":7,"passwords":7,"put_off":7,"since":{"boot":"boot-1","us":1000000}}','f7640a277acae978f6c4f226dad48923064c297b55ff19b939472c092f990534','7e43a421746e05fed34306886be7837b502b3b0ead72a601f5abc1264d5e1d60');
INSERT INTO "entries" VALUES(49,'SignalDue','exercise é',NULL,'boot-1',1000048,NULL,'{"at":{"boot":"boot-1","us":1000000},"because":"because é","burial":"burial é","exercise":"exercise é"}','7e43a421746e05fed34306886be7837b502b3b0ead72a601f5abc1264d5e1d60','1217dc4ebc7c0df2c3ea7bf92cc074ae90e85aa0f1fe58bbee8c9001db5ff629');
INSERT INTO "entries" VALUES(50,'SignalOff','exercise é','0a1b2c3d','boot-1',1000049,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d","why":"why é"}','1217dc4ebc7c0df2c3ea7bf92cc074ae90e85aa0f1fe58bbee8c9001db5ff629','45bbf0117cc7f2255b0cb7ef94189cc8bf0ae83ecc75abf143b888a3b18d991b');
INSERT INTO "entries" VALUES(51,'SignalOn','exercise é','0a1b2c3d','boot-1',1000050,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","exercise":"exercise é","grant":7,"target":"0a1b2c3d"}','45bbf0117cc7f2255b0cb7ef94189cc8bf0ae83ecc75abf143b888a3b18d991b','94a5a8a1e505354460dd9df038364523e6d44da0a7a2fd9c8c1b00880df7d196');
INSERT INTO "entries" VALUES(52,'SnowMeasured',NULL,NULL,'boot-1',1000051,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","snow_m":1.5,"source":"source é","zone":"zone é"}','94a5a8a1e505354460dd9df038364523e6d44da0a7a2fd9c8c1b00880df7d196','afd4af2f71a727e84b30d2293bb3679b7759b88c902eb09fb9ad9b3510c2eeb7');
INSERT INTO "entries" VALUES(53,'SplitMade','exercise é',NULL,'boot-1',1000052,NULL,'{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"burial":"burial é","by":"by é","exercise":"exercise é","name":"name é","split":"split é"}','afd4af2f71a727e84b30d2293bb3679b7759b88c902eb09fb9ad9b3510c2eeb7','b39e0d84a4a2f414c0200fd3a171daf38dcd39abffe6cd5a1df03075626ada19');
INSERT INTO "entries" VALUES(54,'StrikeRecorded','exercise é','0a1b2c3d','boot-1',1000053,'2030-01-02T10:00:00Z','{"at":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"boot":7,"burial":"burial é","clock":[7],"exercise":"exercise é","features":[7],"late":true,"link":"link é","number":7,"rule":"rule é","taken_for":"taken_for é","target":"0a1b2c3d","ticks":7}','b39e0d84a4a2f414c0200fd3a171daf38dcd39abffe6cd5a1df03075626ada19','9dc15abdd1014728b6a6a1f722f3624c9fc478ac5056f0b8d27717fa3de27d0e');
INSERT INTO "entries" VALUES(55,'StrikesDropped',NULL,'0a1b2c3d','boot-1',1000054,NULL,'{"at":{"boot":"boot-1","us":1000000},"boot":7,"count":7,"target":"0a1b2c3d"}','9dc15abdd1014728b6a6a1f722f3624c9fc478ac5056f0b8d27717fa3de27d0e','f6b688e2753a1fc17d3cd7de778350cd2d09eef162fd6ecba44241ce87796631');
INSERT INTO "entries" VALUES(56,'SurfaceRenewed',NULL,NULL,'boot-1',1000055,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","how":"how é","zone":"zone é"}','f6b688e2753a1fc17d3cd7de778350cd2d09eef162fd6ecba44241ce87796631','f1e3d256ee4b1b8e178e7bc9de93de875ea852b8da73e74adf54a43089baf228');
INSERT INTO "entries" VALUES(57,'SwapTakenBack',NULL,'0a1b2c3d','boot-1',1000056,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","target":"0a1b2c3d"}','f1e3d256ee4b1b8e178e7bc9de93de875ea852b8da73e74adf54a43089baf228','4869283f9d45615faaf2bfa42102d0d3941db35cb17b4defed815902e49065d4');
INSERT INTO "entries" VALUES(58,'TargetAdded',NULL,'0a1b2c3d','boot-1',1000057,'2030-01-02T10:00:00Z','{"by":"by é","hardware":"hardware é","key_version":7,"link":"link é","name":"name é","target":"0a1b2c3d"}','4869283f9d45615faaf2bfa42102d0d3941db35cb17b4defed815902e49065d4','e0a888cca68b5e224915c4753735eb66c2b41cc697dd06b250ad660bcc712493');
INSERT INTO "entries" VALUES(59,'TargetBarred',NULL,'0a1b2c3d','boot-1',1000058,NULL,'{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','e0a888cca68b5e224915c4753735eb66c2b41cc697dd06b250ad660bcc712493','09a836479dfdc881ca770ebf896c8163d493232afa104742c54dd0a9468853e8');
INSERT INTO "entries" VALUES(60,'TargetCleared',NULL,'0a1b2c3d','boot-1',1000059,'2030-01-02T10:00:00Z','{"by":"by é","reason":"reason é","target":"0a1b2c3d"}','09a836479dfdc881ca770ebf896c8163d493232afa104742c54dd0a9468853e8','387fbe1e7003de23911102cd39ef9ef3d9a422563201fefd6da4368259ab3928');
INSERT INTO "entries" VALUES(61,'TargetGivenUp',NULL,'0a1b2c3d','boot-1',1000060,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","knew":["knew é"],"last_heard":"last_heard é","last_place":"last_place é","made":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"reason":"reason é","retrieval":"retrieval é","target":"0a1b2c3d","tick":"tick é","told":"told é"}','387fbe1e7003de23911102cd39ef9ef3d9a422563201fefd6da4368259ab3928','c452b4501a0371928c3eaac79b16adc33d132effec82fc25b99f6d5830751099');
INSERT INTO "entries" VALUES(62,'TargetGreeted',NULL,'0a1b2c3d','boot-1',1000061,'2030-01-02T10:00:00Z','{"abilities":["abilities é"],"at":{"boot":"boot-1","us":1000000},"boot":7,"contract":7,"firmware":"firmware é","hardware":"hardware é","target":"0a1b2c3d","why":"why é"}','c452b4501a0371928c3eaac79b16adc33d132effec82fc25b99f6d5830751099','497b4fa03b2906de9bc475e34ba7e0a8c13d6b4ff66385065f55209bccd46436');
INSERT INTO "entries" VALUES(63,'TargetMoved',NULL,'0a1b2c3d','boot-1',1000062,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","notes":"notes é","target":"0a1b2c3d","was_surveyed_on":"was_surveyed_on é","was_x_m":1.5,"was_y_m":1.5}','497b4fa03b2906de9bc475e34ba7e0a8c13d6b4ff66385065f55209bccd46436','d0191061ef05151784bafa8107f01c888fb5daee87840982a89ce2b452492a60');
INSERT INTO "entries" VALUES(64,'TargetNamed',NULL,'0a1b2c3d','boot-1',1000063,'2030-01-02T10:00:00Z','{"by":"by é","name":"name é","target":"0a1b2c3d"}','d0191061ef05151784bafa8107f01c888fb5daee87840982a89ce2b452492a60','616c7365878437b0876431d43a2e76d92c2c5744255925d23aedec122db4f268');
INSERT INTO "entries" VALUES(65,'TargetOdd',NULL,'0a1b2c3d','boot-1',1000064,NULL,'{"at":{"boot":"boot-1","us":1000000},"detail":"detail é","target":"0a1b2c3d","what":"what é"}','616c7365878437b0876431d43a2e76d92c2c5744255925d23aedec122db4f268','b5fc24aa69174722b72f5bbcaafe5fd244a6e8848d0fb0db32ab4b3dca774106');
INSERT INTO "entries" VALUES(66,'TargetRetrieved',NULL,'0a1b2c3d','boot-1',1000065,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","knew":["knew é"],"made":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"note":"note é","retrieval":"retrieval é","target":"0a1b2c3d","tick":"tick é"}','b5fc24aa69174722b72f5bbcaafe5fd244a6e8848d0fb0db32ab4b3dca774106','8c5c3460ada7243bdf76b336fbeb56cda807e577ef29941519aba2e62d30cdde');
INSERT INTO "entries" VALUES(67,'TargetTakenOut',NULL,'0a1b2c3d','boot-1',1000066,NULL,'{"by":"by é","how":"how é","last_place":"last_place é","reason":"reason é","target":"0a1b2c3d"}','8c5c3460ada7243bdf76b336fbeb56cda807e577ef29941519aba2e62d30cdde','ad7ca92a7c3d812ba531e3d23db0f77cbb0b19bb15531df4728720ed09ede39f');
INSERT INTO "entries" VALUES(68,'TargetTuned',NULL,'0a1b2c3d','boot-1',1000067,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","reason":"reason é","target":"0a1b2c3d","threshold":7}','ad7ca92a7c3d812ba531e3d23db0f77cbb0b19bb15531df4728720ed09ede39f','4e3c80a81b8387781559a212499c6a43f116d74294f6408386e8922451d5b12d');
INSERT INTO "entries" VALUES(69,'TouchAsked',NULL,NULL,'boot-1',1000068,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","until":{"boot":"boot-1","us":1000000}}','4e3c80a81b8387781559a212499c6a43f116d74294f6408386e8922451d5b12d','999f7861e4b3f0e32188bd2b9c83750f7c0fa0eccab8bc74bcdd5f74b71a6940');
INSERT INTO "entries" VALUES(70,'TraceRead',NULL,'0a1b2c3d','boot-1',1000069,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"before":7,"begins":7,"boot":7,"by":"by é","every_us":7,"missing":[7],"number":7,"parts":7,"samples":[7],"scale":7,"size":7,"target":"0a1b2c3d"}','999f7861e4b3f0e32188bd2b9c83750f7c0fa0eccab8bc74bcdd5f74b71a6940','74487383bfbb78466068347d40cfeaac18808204f2037445034d7686981c3263');
INSERT INTO "entries" VALUES(71,'VisitBegun',NULL,NULL,'boot-1',1000070,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","found":["found é"],"items":["items é"],"request":"request é","visit":"visit é"}','74487383bfbb78466068347d40cfeaac18808204f2037445034d7686981c3263','d4d684f0efcf50a43cc0c21dd61014d3c9c5ebeb44462407b5f8fb1c286ef1d3');
INSERT INTO "entries" VALUES(72,'VisitClosed',NULL,NULL,'boot-1',1000071,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","left":["left é"],"signed":"signed é","visit":"visit é","why":"why é"}','d4d684f0efcf50a43cc0c21dd61014d3c9c5ebeb44462407b5f8fb1c286ef1d3','b0a3e93ab82152b543f202f1eafca4a94492bb4ceeee90a45bd8b3e17518f857');
INSERT INTO "entries" VALUES(73,'VisitTicked',NULL,NULL,'boot-1',1000072,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","day":"day é","done":true,"item":"item é","knew":["knew é"],"made":{"at":{"boot":"boot-1","us":1000000},"plus_minus_us":900},"tick":"tick é","visit":"visit é","why":"why é"}','b0a3e93ab82152b543f202f1eafca4a94492bb4ceeee90a45bd8b3e17518f857','84bed67e0d0f757e449339a0f95f3bb775988c50af6f9b05578c581414fc7e51');
INSERT INTO "entries" VALUES(74,'VisitUnticked',NULL,NULL,'boot-1',1000073,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"by":"by é","tick":"tick é","visit":"visit é"}','84bed67e0d0f757e449339a0f95f3bb775988c50af6f9b05578c581414fc7e51','4d322ee5080145bb04f9a8aae87b51f127bd8686de999e573f3f29b8c0ccad1a');
INSERT INTO "entries" VALUES(75,'WalkInEnded',NULL,NULL,'boot-1',1000074,NULL,'{"at":{"boot":"boot-1","us":1000000},"by":"by é","release":"release é","why":"why é"}','4d322ee5080145bb04f9a8aae87b51f127bd8686de999e573f3f29b8c0ccad1a','46759e7c188cd1aa1bda63a29ead9d794ffc44f01347bd8d3f3f9d275375b790');
INSERT INTO "entries" VALUES(76,'WalkInReleased',NULL,NULL,'boot-1',1000075,'2030-01-02T10:00:00Z','{"at":{"boot":"boot-1","us":1000000},"begins_at":{"boot":"boot-1","us":1000000},"by":"by é","drill":"drill é","ends_at":{"boot":"boot-1","us":1000000},"limit_s":1.5,"pause_s":1.5,"release":"release é","title":"title é","until":"until é","zones":["zones é"]}','46759e7c188cd1aa1bda63a29ead9d794ffc44f01347bd8d3f3f9d275375b790','998998595650f5ad3bb886e9558fab3a54e1c2153bcf7e130f16b934a45ef3ec');
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
INSERT INTO "strikes" VALUES('0a1b2c3d',7,7,54);
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
INSERT INTO "sqlite_sequence" VALUES('entries',76);
COMMIT;
